"""The pages that record: of what is weighed, dried, packed and thrown away."""

from farm.pages.deeds import Deed
from farm.pages.store import packing_forms, read_back, store_forms

DEEDS = (
    Deed(store_forms.WeighAgainForm, "lot", read_back=read_back.weighing_words),
    Deed(store_forms.DryForm, "all_of"),
    Deed(store_forms.ThrowAwayForm, "lot"),
    Deed(packing_forms.PackForm),
    Deed(packing_forms.CheckWeightsForm, "lot", read_back=read_back.weights_words),
)
