"""The pages that record: of what is sold, loaded, given away and taken back."""

from farm.pages.access import STALL
from farm.pages.deeds import Deed
from farm.pages.selling import read_back, selling_forms, stall_forms

DEEDS = (
    Deed(selling_forms.SellForm, rights=STALL),
    Deed(stall_forms.LoadForm, rights=STALL),
    Deed(
        stall_forms.BackForm,
        rights=STALL,
        template="farm/stall/back.html",
        leads_to="stall-day",
        read_back=read_back.settling_words,
    ),
    Deed(stall_forms.GiveAwayForm, "lot"),
    Deed(selling_forms.TakeBackForm, names_customers=True, rights=STALL),
)
