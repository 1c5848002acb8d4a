"""The fixtures of the browser tests; what they are made of stands in chromium.py."""

from chromium import (
    browser_context_args,
    browser_type_launch_args,
    demo,
    phone,
    pytest_collection_modifyitems,
    server,
    tablet,
)

__all__ = [
    "browser_context_args",
    "browser_type_launch_args",
    "demo",
    "phone",
    "pytest_collection_modifyitems",
    "server",
    "tablet",
]
