"""The page of each kind that can be recorded, in the order of the work."""

from dataclasses import KW_ONLY, dataclass

from farm.kinds import GROUPS
from farm.kinds.kind import Kind
from farm.models import Person
from farm.pages.access import Right, may
from farm.pages.growing import (
    bin_forms,
    block_forms,
    culture_forms,
    grain_forms,
    harvest_forms,
    supply_forms,
)
from farm.pages.orders import order_forms
from farm.pages.recording import correcting_forms
from farm.pages.recording_form import DoingForm
from farm.pages.selling import selling_forms, stall_forms
from farm.pages.store import packing_forms, store_forms


@dataclass(frozen=True)
class Deed:
    """The page of the kind that a form records.

    ``field``: where a lot's code is prefilled, if any. ``rights``: of which one is needed.
    ``names_customers``: a phone keeps its form for a short time only. ``leads_to``: the page of
    its entry.
    """

    form: type[DoingForm]
    field: str = ""
    _: KW_ONLY
    names_customers: bool = False
    rights: tuple[Right, ...] = (Right.RECORD,)
    template: str = "farm/record/form.html"
    leads_to: str = "entry"

    @property
    def kind(self) -> Kind:
        return self.form.kind

    @property
    def slug(self) -> str:
        return self.kind.slug

    @property
    def title(self) -> str:
        return self.kind.words

    @property
    def caution(self) -> str:
        return self.kind.caution


STALL = (Right.RECORD, Right.SELL)

DEEDS = (
    Deed(supply_forms.ReceiveForm),
    Deed(bin_forms.TopUpForm, "lots"),
    Deed(supply_forms.BuyCultureForm),
    Deed(culture_forms.TransferForm, "source"),
    Deed(culture_forms.CloneForm, "source"),
    Deed(grain_forms.PrepareGrainForm),
    Deed(grain_forms.SteriliseForm, "lots"),
    Deed(grain_forms.InoculateGrainForm, "grain"),
    Deed(block_forms.FillBlocksForm),
    Deed(block_forms.InoculateBlocksForm, "bags"),
    Deed(block_forms.CheckForm, "lot"),
    Deed(block_forms.MoveToFruitingForm, "lot"),
    Deed(block_forms.MoveForm, "lot"),
    Deed(harvest_forms.PickForm, "blocks"),
    Deed(harvest_forms.KeepSpentForm, "lot"),
    Deed(harvest_forms.SpentForm, "lot"),
    Deed(store_forms.WeighAgainForm, "lot"),
    Deed(store_forms.DryForm, "all_of"),
    Deed(store_forms.ThrowAwayForm, "lot"),
    Deed(packing_forms.PackForm),
    Deed(packing_forms.CheckWeightsForm, "lot"),
    Deed(selling_forms.SellForm, rights=STALL),
    Deed(order_forms.DeliverForm, names_customers=True),
    Deed(stall_forms.LoadForm, rights=STALL),
    Deed(
        stall_forms.BackForm,
        rights=STALL,
        template="farm/stall/back.html",
        leads_to="stall-day",
    ),
    Deed(stall_forms.GiveAwayForm, "lot"),
    Deed(selling_forms.TakeBackForm, names_customers=True, rights=STALL),
    Deed(correcting_forms.HoldForm, "lot"),
    Deed(correcting_forms.ReleaseForm, "lot"),
)

BY_SLUG = {deed.slug: deed for deed in DEEDS}


def may_do(person: Person, deed: Deed) -> bool:
    return any(may(person, right) for right in deed.rights)


def deeds_by_group(person: Person) -> list[tuple[str, list[Deed]]]:
    """Actions open to somebody, without the groups in which they have none."""
    open_to = [deed for deed in DEEDS if may_do(person, deed)]
    groups = ((group, [deed for deed in open_to if deed.kind.group == group]) for group in GROUPS)
    return [(group, deeds) for group, deeds in groups if deeds]


def deeds_for(stage: int, person: Person, *, held: bool = False) -> list[Deed]:
    """Actions that fit a lot of a stage and are open to somebody, in the order of the work.

    ``held``: of those alone that the book takes of a lot on hold.
    """
    fitting = [deed for deed in DEEDS if stage in deed.kind.stages and may_do(person, deed)]
    return [deed for deed in fitting if not held or deed.kind.while_held]
