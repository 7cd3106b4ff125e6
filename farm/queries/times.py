"""How long things usually take."""

from farm.models import StandardTime


def usual_time(action: str) -> str:
    """Say the standard time of an action in words; empty where none is set."""
    usual = StandardTime.objects.filter(action=action).first()
    if usual is None:
        return ""
    each = f" and {usual.unit_seconds} s for each" if usual.unit_seconds else ""
    return f"{usual.minutes} min{each}"
