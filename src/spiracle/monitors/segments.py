"""Bytes of one HL7 message into checked segments. The `hl7` library splits; limits, character sets and escapes are held here first.

Nothing of a message whose frame is broken is read on: it is refused by name, with the field that is wrong.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

import msgspec

from spiracle.monitors.tables import MonitorTables
from spiracle.refusals import Missing, NotAQuantity, NotOneOf, OutOfRange, Unknown

HEAD = "MSH|^~\\&|"
CHARSETS = {
    "": "ascii",
    "ASCII": "ascii",
    "8859/1": "latin-1",
    "8859/15": "iso8859-15",
    "UNICODE": "utf-8",
    "UNICODE UTF-8": "utf-8",
}
_LINE = re.compile(r"[A-Z][A-Z0-9]{2}(?:\||$)")
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x0c\x0e-\x1f\x7f]")
_ESCAPE = re.compile(r"\\(F|S|R|E|T|X(?:[0-9A-Fa-f]{2}){1,64})\\")
_MEANS = {"F": "|", "S": "^", "R": "~", "E": "\\", "T": "&"}
LONGEST = 250
KEPT_LINE = 300  # of longer lines none is kept, so that what is kept stays small
Parts = tuple[tuple[tuple[str, ...], ...], ...]  # repetitions, components, sub-components
ARRAYS = frozenset({"NA", "MA"})
_AT = list.__getitem__  # the library's own indexing costs ten times as much, and there are hundreds to a message


class Segment(msgspec.Struct, frozen=True, kw_only=True):
    """One segment: its name, its fields as split by the library, and the samples of an array row, which are split later."""

    name: str
    fields: Any
    charset: str
    array: str = ""

    def parts(self, n: int) -> Parts:
        """Field `n`, escapes not yet resolved."""
        if n >= len(self.fields):
            return ()
        return tuple(
            ((rep,),)
            if isinstance(rep, str)
            else tuple((c,) if isinstance(c, str) else tuple(map(str, c)) for c in rep)
            for rep in self.fields[n]
        )

    def text(self, n: int, component: int = 1, sub: int = 1, repetition: int = 1) -> str:
        """One part of field `n` as meant, counted from one; "" where it is not there."""
        part: Any = self.fields[n] if n < len(self.fields) else ""
        for place in (repetition, component, sub):
            if isinstance(part, str):  # the library stops splitting where there is nothing more to split
                if place > 1:
                    return ""
            elif place > len(part):
                return ""
            else:
                part = _AT(part, place - 1)
        return unescape(part if isinstance(part, str) else "", self.charset)

    def raw(self, n: int) -> str:
        """Field `n` as sent, for the echo of an acknowledgement."""
        return str(self.fields[n]) if n < len(self.fields) else ""

    def words(self, n: int, component: int = 1) -> str:
        """The same for names and ids: no longer than a name can be."""
        said = self.text(n, component)
        if len(said) > LONGEST:
            raise OutOfRange(f"{self.name}-{n}", f"is {len(said)} characters long.", f"At most {LONGEST} are read.")
        return said


def unescape(text: str, charset: str) -> str:
    """The escapes of HL7: separators and characters by number. One that we do not know is left as it stands.

    >>> unescape("Tom \\\\T\\\\ Jerry", "utf-8")
    'Tom & Jerry'
    """
    return _ESCAPE.sub(lambda found: _meant(found, charset), text) if "\\" in text else text


def _meant(found: re.Match[str], charset: str) -> str:
    word = found.group(1)
    if word in _MEANS:
        return _MEANS[word]
    try:
        meant = bytes.fromhex(word[1:]).decode(charset)
    except UnicodeDecodeError:
        return found.group(0)
    return found.group(0) if _CONTROL.search(meant) or "\r" in meant else meant


def escape(text: str) -> str:
    """Text as it may stand in a field."""
    for plain, word in (("\\", "E"), ("|", "F"), ("^", "S"), ("~", "R"), ("&", "T")):
        text = text.replace(plain, f"\\{word}\\")
    return _CONTROL.sub(" ", text).replace("\r", " ")


def _parse(text: str) -> Any:
    import hl7  # type: ignore[import-untyped]

    return hl7.parse(text)


def head_of(data: bytes) -> Segment:
    """The header alone. What cannot be read as one is refused; the rest of the message may still be broken."""
    line = data.split(b"\r", 1)[0]
    if not line.startswith(HEAD.encode()):
        raise Missing("MSH", "does not open the message.", f"A message begins with {HEAD}.")
    if len(line) > 4096 or sum(line.count(mark) for mark in b"|^~&") > 400:
        raise OutOfRange("MSH", "is longer than any header.", "At most 4096 bytes.")
    fields = line.split(b"|")
    said = fields[17].split(b"~")[0].decode("ascii", "replace").strip() if len(fields) > 17 else ""
    if said not in CHARSETS:
        raise Unknown(
            "MSH-18", f"{said[:40]!r} is no character set we read.", "Read are ASCII, 8859/1, 8859/15, UNICODE UTF-8."
        )
    text = _decode(line, CHARSETS[said], "MSH")
    _check_control(1, text)
    message = _parse(text)
    return Segment(name="MSH", fields=list(message[0]), charset=CHARSETS[said])


def split(data: bytes, head: Segment, tables: MonitorTables) -> tuple[Segment, ...]:
    """All segments of a message whose header was read."""
    text = _decode(data, head.charset, "message")
    lines = text.rstrip("\r").split("\r")
    _check_lines(lines, tables)
    arrays = {i: cut for i, line in enumerate(lines) if line.startswith("OBX|") for cut in [_cut(line)] if cut}
    bare = [arrays[i][0] if i in arrays else line for i, line in enumerate(lines)]
    _check_parts(bare, tables)
    return (head, *(_with_array(_line(line, head.charset), arrays.get(i)) for i, line in enumerate(bare) if i))


def _with_array(segment: Segment, cut: tuple[str, str] | None) -> Segment:
    return segment if cut is None else msgspec.structs.replace(segment, array=cut[1])


def _line(line: str, charset: str) -> Segment:
    """One segment. A monitor says most of its lines again and again, word for word: those are split once."""
    return _known_line(line, charset) if len(line) <= KEPT_LINE else _split_line(line, charset)


@lru_cache(maxsize=8192)
def _known_line(line: str, charset: str) -> Segment:
    return _split_line(line, charset)


def _split_line(line: str, charset: str) -> Segment:
    message = _parse(f"{HEAD}\r{line}")
    if len(message) != 2:
        raise NotAQuantity("message", "does not split into its lines.")
    return Segment(name=str(message[1][0]), fields=list(message[1]), charset=charset)


def _decode(data: bytes, charset: str, what: str) -> str:
    try:
        return data.decode(charset)
    except UnicodeDecodeError as fault:
        raise NotAQuantity(
            what, f"is not {charset} at byte {fault.start}.", "Name the character set in MSH-18."
        ) from fault


def _check_lines(lines: list[str], tables: MonitorTables) -> None:
    if len(lines) > tables.limit("message-lines"):
        raise OutOfRange("message", f"has {len(lines)} lines.", f"At most {tables.limit('message-lines')} are read.")
    for n, line in enumerate(lines, 1):
        if not _LINE.match(line):
            raise NotAQuantity(f"line {n}", "is no segment.", "Segments end with a carriage return alone.")
        if n > 1 and line.startswith("MSH"):
            raise NotOneOf(f"line {n}", "begins a second message.", "One message a frame.")
        _check_control(n, line)


def _check_control(n: int, line: str) -> None:
    """No control characters: those of a header would go back out in the answer."""
    found = _CONTROL.search(line)
    if found is not None:
        raise NotAQuantity(f"line {n}", f"holds control character {ord(found.group()):#04x}.", "Escape it.")


def _cut(line: str) -> tuple[str, str] | None:
    """An array row without its samples, and the samples: a library that makes an object of each would not end."""
    fields = line.split("|", 6)
    if len(fields) < 6 or fields[2] not in ARRAYS:
        return None
    samples, fields[5] = fields[5], ""
    return "|".join(fields), samples


def _check_parts(lines: list[str], tables: MonitorTables) -> None:
    found = sum(line.count(mark) for line in lines for mark in "|^~&")
    if found > tables.limit("message-parts"):
        raise OutOfRange(
            "message", f"has {found} fields and parts.", f"At most {tables.limit('message-parts')} are read."
        )
    if any(line.count("|") > 64 for line in lines):
        raise OutOfRange("message", "has a segment of over 64 fields.", "No segment has more.")


def one(segments: tuple[Segment, ...], name: str) -> Segment | None:
    """The segment of that name, or None; two of them are two patients."""
    found = [s for s in segments if s.name == name]
    if len(found) > 1:
        raise NotOneOf(name, "stands twice: two patients in one message.", "One patient a message.")
    return found[0] if found else None
