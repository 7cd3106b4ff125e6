"""What the form of every look-up has."""

from typing import Any

from django import forms

from farm.models import Farm


class LookupForm(forms.ModelForm):  # type: ignore[type-arg]
    """One row of a look-up; its amounts are read as they are typed."""

    def __init__(self, *given: Any, farm: Farm, **known: Any) -> None:
        super().__init__(*given, **known)
        for field in self.fields.values():
            if hasattr(field, "use_farm"):
                field.use_farm(farm)
