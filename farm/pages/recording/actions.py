"""The pages that record: of a hold and its release."""

from farm.pages.deeds import Deed
from farm.pages.recording import correcting_forms

DEEDS = (
    Deed(correcting_forms.HoldForm, "lot"),
    Deed(correcting_forms.ReleaseForm, "lot"),
)
