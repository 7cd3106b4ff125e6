"""What can be recorded: one row an action, in the order of the work."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.actions.selling.selling import SELLABLE
from farm.models import Person, Stage
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

PRESSURE = (
    "A pressure vessel can burst and scald. Never run it above the maker's plate; keep the vent "
    "clear and the inspection in date. Follow your local code and licensed practice."
)
FLAME = (
    "Alcohol and flame: let alcohol dry first, keep the flame away from spray and fan, have an "
    "extinguisher at hand. Follow your local fire code."
)
SPORES = (
    "Spores and moulds harm lungs: open green bags outdoors, never in the grow room, and wear a "
    "mask. This is not medical advice; ask a doctor about symptoms, and follow your local code."
)
NO_KILL_STEP = (
    "Drying is not a kill step: dried mushrooms are cooked before eating. Drying may need a "
    "licence: follow your local food code."
)
NO_AIRTIGHT = (
    "Never pack fresh mushrooms airtight without an approved process: the botulism poison can "
    "grow. Use open or perforated packs, kept cold. Follow your local food code and inspector."
)


@dataclass(frozen=True)
class Deed:
    """One action's page. ``done`` begins its message; ``kind`` is the entry's own word for it.

    ``then``: what comes next, for the end of the message.

    ``time``: that word where it is not the slug's, such as a delivery, which is a sale.

    ``rights``: of which one is needed. ``names_customers``: a phone keeps its form for a short
    time only. ``leads_to``: the page of its entry.

    ``stages``: lots of these offer this action; ``field``: where their code is prefilled, if any.
    """

    slug: str
    title: str
    done: str
    group: str
    form: type[DoingForm]
    field: str = ""
    stages: Sequence[int] = ()
    caution: str = ""
    time: str = ""
    names_customers: bool = False
    rights: tuple[Right, ...] = (Right.RECORD,)
    template: str = "farm/record/form.html"
    leads_to: str = "entry"
    then: str = ""

    @property
    def kind(self) -> str:
        """The kind of its entry, by which its usual minutes are found."""
        return self.time or self.slug.replace("-", " ")


GRAIN, BLOCKS, STORE, SELL, RIGHT = (
    "Supplies and grain", "Blocks", "Fruiting and fridge", "Pack and sell", "Put right",
)  # fmt: skip
GROUPS = (GRAIN, BLOCKS, STORE, SELL, RIGHT)
ANY = tuple(Stage)
SOLD = SELLABLE
STALL = (Right.RECORD, Right.SELL)
# What neither uses nor sells a lot; what is picked of held blocks is born on hold.
WHILE_HELD = frozenset({
    "check", "move-to-fruiting", "move", "pick", "spent", "weigh-again", "throw-away",
    "check-weights",
})  # fmt: skip

DEEDS = (
    Deed("receive-supplies", "Receive supplies", "Received", GRAIN, supply_forms.ReceiveForm),
    Deed("top-up", "Top up a bin", "Bin topped up", GRAIN, bin_forms.TopUpForm, "lots",
         (Stage.SUPPLY,)),
    Deed("buy-culture", "Buy a culture", "Culture bought", GRAIN, supply_forms.BuyCultureForm),
    Deed("transfer-culture", "Transfer a culture", "Culture transferred", GRAIN,
         culture_forms.TransferForm, "source", (Stage.CULTURE,), FLAME),
    Deed("clone-culture", "Clone from a pick", "Culture cloned", GRAIN, culture_forms.CloneForm,
         "source", (Stage.CROP,), FLAME),
    Deed("prepare-grain", "Prepare grain", "Grain prepared", GRAIN, grain_forms.PrepareGrainForm,
         then="a steriliser run"),
    Deed("steriliser-run", "Steriliser run", "Sterilised", GRAIN, grain_forms.SteriliseForm, "lots",
         (Stage.GRAIN, Stage.BAGS), PRESSURE, then="inoculate, once it has cooled"),
    Deed("inoculate-grain", "Inoculate grain", "Grain inoculated", GRAIN,
         grain_forms.InoculateGrainForm, "grain", (Stage.GRAIN,), FLAME,
         then="write the code on the tape, and check how it grows"),
    Deed("fill-blocks", "Fill blocks", "Bags filled", BLOCKS, block_forms.FillBlocksForm,
         then="a steriliser run"),
    Deed("inoculate-blocks", "Inoculate blocks", "Blocks inoculated", BLOCKS,
         block_forms.InoculateBlocksForm, "bags", (Stage.BAGS,), FLAME,
         then="write the code on the tape, and check how they grow"),
    Deed("check", "Check, break and shake", "Checked", BLOCKS, block_forms.CheckForm, "lot",
         (Stage.SPAWN, Stage.BLOCKS), SPORES),
    Deed("move-to-fruiting", "Move to fruiting", "Moved to fruiting", BLOCKS,
         block_forms.MoveToFruitingForm, "lot", (Stage.BLOCKS,), then="pick"),
    Deed("move", "Move to another shelf", "Moved", BLOCKS, block_forms.MoveForm, "lot", ANY),
    Deed("pick", "Pick", "Picked", STORE, harvest_forms.PickForm, "blocks", (Stage.BLOCKS,)),
    Deed("keep-spent-blocks", "Keep spent blocks", "Kept", STORE, harvest_forms.KeepSpentForm,
         "lot", (Stage.BLOCKS,), SPORES),
    Deed("spent", "Blocks are spent", "Spent", STORE, harvest_forms.SpentForm, "lot",
         (Stage.BLOCKS,)),
    Deed("weigh-again", "Weigh again", "Weighed again", STORE, store_forms.WeighAgainForm, "lot",
         (Stage.CROP,)),
    Deed("dry", "Dry", "Dried", STORE, store_forms.DryForm, "all_of",
         (Stage.CROP, Stage.PACKS), NO_KILL_STEP),
    Deed("throw-away", "Throw away", "Thrown away", STORE, store_forms.ThrowAwayForm, "lot", ANY),
    Deed("pack", "Pack", "Packed", SELL, packing_forms.PackForm, "", (Stage.CROP, Stage.DRIED),
         NO_AIRTIGHT),
    Deed("check-weights", "Check weights of packs", "Weighed", SELL, packing_forms.CheckWeightsForm,
         "lot", (Stage.PACKS,)),
    Deed("sell", "Sell", "Sold", SELL, selling_forms.SellForm, "", SOLD,
         rights=STALL),
    Deed("deliver", "Deliver an order", "Delivered", SELL, order_forms.DeliverForm, time="sell",
         names_customers=True),
    Deed("load-stall", "Load for a stall", "Loaded", SELL, stall_forms.LoadForm, "", SOLD,
         rights=STALL, then="settle it when the van is back"),
    Deed("settle-stall", "Back from the market", "Settled", SELL, stall_forms.BackForm,
         rights=STALL, template="farm/stall/back.html", leads_to="stall-day"),
    Deed("give-away", "Give away", "Given away", SELL, stall_forms.GiveAwayForm, "lot", SOLD),
    Deed("take-back", "Take back unsold", "Taken back", SELL, selling_forms.TakeBackForm,
         names_customers=True, rights=STALL),
    Deed("hold", "Put on hold", "Put on hold", RIGHT, correcting_forms.HoldForm, "lot",
         then="release it once it is known to be good, or throw it away"),
    Deed("release", "Release from hold", "Released", RIGHT, correcting_forms.ReleaseForm, "lot"),
)  # fmt: skip

BY_SLUG = {deed.slug: deed for deed in DEEDS}


def may_do(person: Person, deed: Deed) -> bool:
    return any(may(person, right) for right in deed.rights)


def deeds_by_group(person: Person) -> list[tuple[str, list[Deed]]]:
    """Actions open to somebody, without the groups in which they have none."""
    open_to = [deed for deed in DEEDS if may_do(person, deed)]
    groups = ((group, [deed for deed in open_to if deed.group == group]) for group in GROUPS)
    return [(group, deeds) for group, deeds in groups if deeds]


def deeds_for(stage: int, person: Person, *, held: bool = False) -> list[Deed]:
    """Actions that fit a lot of a stage and are open to somebody, in the order of the work.

    ``held``: of those alone that the book takes of a lot on hold.
    """
    fitting = [deed for deed in DEEDS if stage in deed.stages and may_do(person, deed)]
    return [deed for deed in fitting if not held or deed.slug in WHILE_HELD]
