"""The recall that is open at the invented farm when its year ends; some were told, some not yet."""

from datetime import timedelta

from farm.actions.common import both
from farm.actions.tracing.recalling import add_call, open_recall
from farm.demo.clock import Year
from farm.models import Customer, Given, GivenAway, LoadLine, Stage, the_farm
from farm.queries.sales import open_loads
from farm.queries.tracing.reach import Reach, reach_of
from farm.queries.tracing.suspects import suspect_lots
from farm.reports.tracing.notice import first_words
from ledger.models import Lot

AS_OLD_AS = timedelta(weeks=6)
KITCHENS = 3


def open_recall_of_a_pick(year: Year) -> None:
    """A kitchen found a splinter in what it got of a pick: all of that pick is called back.

    The first kitchen was told and kept some; at the second nobody answered; others wait.
    """
    found = _pick_to_recall(year)
    if found is None:
        return
    words = first_words(the_farm(), found, year.clock.date())
    doing = year.aside("recall", "a kitchen found a splinter of hard plastic in its crate")
    recall = open_recall(doing, found, notice=words)
    first, second = found.recipients[:2]
    kept = first.kept_mg // 4
    answer = f"still had {both(kept)}, will throw it away"
    told = year.aside("first call", answer)
    add_call(told, recall, _customer(first.customer_id), reached=True, recovered_mg=kept)
    silent = year.aside("second call", "nobody answered; to be called again", who="tam")
    add_call(silent, recall, _customer(second.customer_id), reached=False, recovered_mg=0)


def _pick_to_recall(year: Year) -> Reach | None:
    """The last pick that went to several kitchens, the stall and for a sample, and is here still.

    Nothing of it is on the van, which is not back yet.
    """
    since = year.clock.date() - AS_OLD_AS
    crop = Lot.objects.filter(card__stage=Stage.CROP, card__harvested_on__gte=since)
    loaded = LoadLine.objects.filter(stall_day__in=open_loads().order_by())
    on_van = set(loaded.values_list("lot__code", flat=True))
    for lot in crop.order_by("-pk"):
        found = reach_of(suspect_lots([lot]))
        codes = {one.code for one in found.lots}
        went_far = len(found.recipients) >= KITCHENS and found.unnamed and found.still_here
        if went_far and not on_van & codes and _was_tasted(codes):
            return found
    return None


def _was_tasted(codes: set[str]) -> bool:
    given = GivenAway.objects.filter(why__in=(Given.SAMPLE, Given.GIFT))
    return given.filter(entry__lines__lot__code__in=codes).exists()


def _customer(pk: int) -> Customer:
    return Customer.objects.get(pk=pk)
