"""The pages that record: of what is weighed, dried, packed and thrown away."""

from farm.pages.deeds import Deed
from farm.pages.store import packing_forms, store_forms

DEEDS = (
    Deed(store_forms.WeighAgainForm, "lot"),
    Deed(store_forms.DryForm, "all_of"),
    Deed(store_forms.ThrowAwayForm, "lot"),
    Deed(packing_forms.PackForm),
    Deed(packing_forms.CheckWeightsForm, "lot"),
)
