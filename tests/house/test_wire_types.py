"""The tablet's page of types says what the house sends and takes: the committed page is the generated one."""

from __future__ import annotations

import re
from pathlib import Path

import msgspec
import pytest

from spiracle.case.events import every_event
from spiracle.doors.wire_types import SENT, STAMPED, typescript

PAGE = Path(__file__).parents[2] / "tablet" / "src" / "wire" / "types.ts"


def interface(page: str, name: str) -> dict[str, tuple[bool, str]]:
    """Fields of one TypeScript interface: name -> (may be left out, type)."""
    found = re.search(rf"export interface {name} \{{\n(.*?)\n\}}", page, re.DOTALL)
    assert found, f"{name} is not on the page"
    rows = re.findall(r"^  (\w+)(\??): (.+);$", found.group(1), re.MULTILINE)
    return {field: (mark == "?", kind) for field, mark, kind in rows}


def test_the_committed_page_is_the_generated_one() -> None:
    assert PAGE.read_text(encoding="utf-8") == typescript(), (
        "run: python -m spiracle.doors.wire_types > tablet/src/wire/types.ts"
    )


@pytest.mark.parametrize("event", every_event(), ids=lambda event: event.__name__)
def test_every_event_is_there_and_only_defaults_may_be_left_out(event: type[msgspec.Struct]) -> None:
    fields = interface(typescript(), event.__name__)
    info = {field.name: field for field in msgspec.structs.fields(event)}
    assert fields.keys() == {"event", *info}
    assert fields["event"] == (False, f'"{event.__name__}"')
    for name, field in info.items():
        assert fields[name][0] == (not field.required), name


@pytest.mark.parametrize(
    "shape", [shape for shape in SENT if issubclass(shape, msgspec.Struct)], ids=lambda shape: shape.__name__
)
def test_a_sent_shape_leaves_nothing_out(shape: type[msgspec.Struct]) -> None:
    fields = interface(typescript(), shape.__name__)
    assert fields.keys() == set(shape.__struct_fields__)
    assert not any(optional for optional, _ in fields.values())


def test_a_weight_is_posted_as_a_decimal_and_nothing_is_any() -> None:
    page = typescript()
    assert interface(page, "Weighed")["weight_kg"] == (False, "Decimal")
    assert not re.search(r"(?m)^[^/\n]*[:|<] *(?:any|unknown)\b", page), "as a type; a field may be called so"
    assert all(f'"{field}"' in page for field in STAMPED)
