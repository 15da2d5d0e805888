"""A value as the CSV has it, by the rules that docs/files.md states: made anew, to hold other writers against it."""

FORMULA_STARTS = "=+-@\t\r\n＝＋－＠"
TURNING = {0x61C, 0x200E, 0x200F, *range(0x2028, 0x202F), *range(0x2066, 0x206A)}


def acts(letter):
    return ord(letter) < 32 or 127 <= ord(letter) < 160 or ord(letter) in TURNING


def cell(value, entry):
    """The value as the CSV has it."""
    if value is None:
        return ""
    if entry["type"] == "boolean":
        return "true" if value else "false"
    if entry["type"] == "number":
        return f"{value:.{entry['decimals']}f}"
    if entry["type"] == "date":
        return value.isoformat()
    if entry["type"] == "datetime":
        text = value.replace(tzinfo=None).isoformat(timespec="milliseconds").removesuffix(".000")
        return text + ("Z" if entry["column"].endswith("_utc") else "")
    if entry["type"] == "integer":
        return str(value)
    shown = "".join(f"\\u{ord(letter):04x}" if acts(letter) else letter for letter in value)
    return "'" + shown if shown.lstrip("'")[:1] in tuple(FORMULA_STARTS) else shown
