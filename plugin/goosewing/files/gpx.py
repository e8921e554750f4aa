"""What every reader of GPX needs first: its namespaces, and whose element a tag is."""

from __future__ import annotations

from typing import Any

GPX_1_0 = "http://www.topografix.com/GPX/1/0"
GPX_1_1 = "http://www.topografix.com/GPX/1/1"


def split_name(tag: Any) -> tuple[str, str]:
    """Split ``{namespace}local`` in two; no namespace is the empty one."""
    namespace, brace, local = str(tag).rpartition("}")
    return (namespace[1:] if brace else ""), local
