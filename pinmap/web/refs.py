"""Names of pins and device terminals as one text, for forms and addresses."""

from __future__ import annotations

from urllib.parse import quote, unquote

from pinmap.core.errors import InputError
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.pinouts import PinKey


def end_ref(end: End) -> str:
    """``p/platform/connector/cavity/edition`` or ``d/device/terminal``, each part percent-encoded."""
    head = "d" if isinstance(end, DeviceEnd) else "p"
    return "/".join((head, *(quote(part, safe="") for part in end)))


def parse_end(ref: str) -> End:
    """The end that ``end_ref`` named. Raises InputError."""
    head, *parts = ref.split("/")
    values = [unquote(part) for part in parts]
    if head == "p" and len(values) == 4:
        return PinKey(*values)
    if head == "d" and len(values) == 2:
        return DeviceEnd(*values)
    raise InputError("pin", ref, "choose the pin or device terminal from the list")


def parse_pin(ref: str) -> PinKey:
    """As ``parse_end``, for pins only. Raises InputError."""
    end = parse_end(ref)
    if isinstance(end, DeviceEnd):
        raise InputError("pin", ref, "choose a pin, not a device terminal")
    return end
