"""The shape of a rule: it raises a refusal or says nothing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeAlias

from spiracle.case.events import Event
from spiracle.case.fold import Case

Rule: TypeAlias = Callable[[Case, Any, Any, datetime], None]
Rules: TypeAlias = dict[type[Event], Rule]
