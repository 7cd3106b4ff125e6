"""The demo farm: some weeks of it, played through the actions, and what guards it."""

from collections.abc import Iterator
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Count
from pytest_django import DjangoDbBlocker

from farm.models import (
    ClosedMonth,
    Farm,
    Given,
    GivenAway,
    Grade,
    InvoiceKind,
    LotCard,
    Payment,
    PlaceKind,
    Recall,
    Record,
    Review,
    Sale,
    SaleLine,
    Settling,
    Stage,
)
from farm.queries.costs.card_outcomes import outcomes
from farm.queries.months.closings import closings, closings_add_up, late_entries, since_closing
from farm.queries.tracing.recalls import state_of
from ledger.models import Entry, Line, Lot, Role
from tests.farm.world import assert_book_is_sound
from tests.played import TWICE_WEEKS, Lots, play_weeks, played_weeks


@pytest.fixture(scope="module")
def played(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[list[Lots]]:
    """Play twice, each time from nothing, and leave nothing behind; the second is there to read."""
    with django_db_blocker.unblock():
        with transaction.atomic():
            first = play_weeks(TWICE_WEEKS)
            transaction.set_rollback(True)
        with transaction.atomic():
            yield [first, played_weeks()]
            transaction.set_rollback(True)


def test_it_goes_the_whole_way_and_the_book_is_sound(played: list[Lots]) -> None:
    stages = set(Lot.objects.values_list("card__stage", flat=True))

    assert stages >= {stage.value for stage in Stage} - {Stage.DRIED.value, Stage.SPENT.value}
    assert Sale.objects.filter(customer=None).exists()
    assert Sale.objects.exclude(customer=None).exists()
    assert_book_is_sound()


def test_it_keeps_records_beside_the_book(played: list[Lots]) -> None:
    kinds = set(Record.objects.values_list("kind", flat=True))

    assert kinds >= {"store-temperature", "cleaning", "training", "water"}
    assert Review.objects.exists()


def test_it_closes_its_months_and_puts_a_number_right_afterwards(played: list[Lots]) -> None:
    known = closings()
    changed = {(row.month, row.table) for row in since_closing()}

    months = ["2026-01", "2026-02", "2026-03"]
    assert [f"{closed.month:%Y-%m}" for closed in known.closed] == months
    assert {file.name[-4:] for file in known.closed[-1].files.all()} >= {".pdf", "xlsx"}
    assert "correct" in {entry.kind for entry in late_entries(known)}
    assert {("2026-03", "sales"), ("2026-03", "tax")} <= changed
    assert closings_add_up().broken == ""


def test_no_entry_of_the_played_year_looks_late(played: list[Lots]) -> None:
    waits = [entry.recorded_at - entry.happened_at for entry in Entry.objects.all()]

    assert max(waits) < timedelta(hours=1)


def test_it_shows_the_three_answers_of_a_demo_that_is_there(played: list[Lots]) -> None:
    out = StringIO()

    call_command("demo", "--no-serve", stdout=out)

    said = out.getvalue()
    assert "stays as it is" in said
    for words in ("What a block and a kilo cost", "What is behind a sold punnet", "The month"):
        assert words in said
    assert "two-alders-owner" in said


def test_it_is_the_same_each_time_it_is_played(played: list[Lots]) -> None:
    first, second = ([row[:2] for row in lots] for lots in played)

    assert [pair for pair in zip(first, second, strict=True) if pair[0] != pair[1]] == []
    assert len(first) > 60


@pytest.mark.django_db
def test_it_never_touches_a_real_farm(farm: Farm) -> None:
    with pytest.raises(CommandError, match=f"holds a real farm .{farm.name}.*leaves it alone"):
        call_command("demo", "--no-serve", stdout=StringIO())

    assert Farm.objects.get().name == farm.name
    assert not Entry.objects.exists()


def test_what_is_dried_carries_tax_loose_and_in_packs_and_what_is_fresh_none(
    played: list[Lots],
) -> None:
    rows = SaleLine.objects.values_list("line__lot__card__stage", "tax_ppm").distinct()

    assert set(rows) >= {(Stage.CROP, 0), (Stage.DRIED, 90_000), (Stage.PACKS, 0)}
    assert not set(rows) & {(Stage.CROP, 90_000), (Stage.DRIED, 0)}


# --- what an ordinary farm lives through -----------------------------------------------------


def test_a_flush_is_picked_on_two_days(played: list[Lots]) -> None:
    picks = Line.objects.filter(given_mg__gt=0, turn=1, entry__amends=None)
    days = picks.values("lot").annotate(days=Count("entry__happened_on", distinct=True))

    assert {
        ("Blocks, Grey oyster · house line", 1),
        ("Blocks, Lion's mane · house line", 2),
    } <= set(days.values_list("lot__item__name", "days"))


def test_two_strains_are_picked_into_one_lot_that_is_of_none(played: list[Lots]) -> None:
    mixed = LotCard.objects.filter(stage=Stage.CROP, strain=None)
    picks = Entry.objects.filter(lines__lot__card__in=mixed).filter(kind="pick").distinct()

    assert {card.flush for card in mixed} == {1, 2}
    for entry in picks:
        lines = entry.lines.filter(given_mg__gt=0)
        assert set(lines.values_list("lot__card__strain__name", flat=True)) == {
            "house line",
            "trial line",
        }


def test_trim_is_sold_at_a_price_of_its_own_and_binned_otherwise(played: list[Lots]) -> None:
    trim = Line.objects.filter(lot__card__grade=Grade.TRIM)
    sold = SaleLine.objects.filter(line__in=trim).values_list("gross", "line__quantity")

    # 4.00 a kilo, to the nearest cent: 1.050833 kg are 4.20.
    assert [gross for gross, _ in sold] == [round(-4 * mg / 10_000) * 100 for _, mg in sold]
    assert len(sold) == 3
    assert trim.filter(entry__kind="throw away").exists()


def test_samples_and_a_gift_leave_the_book_without_money(played: list[Lots]) -> None:
    assert {Given.SAMPLE, Given.GIFT} <= set(GivenAway.objects.values_list("why", flat=True))
    assert GivenAway.objects.filter(sale=None, why=Given.GIFT).exists()


def test_goods_come_back_after_their_invoice_and_are_credited(played: list[Lots]) -> None:
    back = SaleLine.objects.get(line__role=Role.BACK)
    invoice = back.invoiced.invoice

    assert invoice.kind == InvoiceKind.CREDIT
    assert invoice.credits is not None
    assert back.line.entry.happened_on > invoice.credits.issued_on


def test_what_was_paid_twice_is_paid_back(played: list[Lots]) -> None:
    back = Payment.objects.get(what=Settling.BACK)
    paid = Payment.objects.filter(customer=back.customer, invoice=back.invoice, what=Settling.PAID)

    assert [one.amount_money for one in paid] == [-back.amount_money] * 2
    assert "twice" in back.note


def test_a_payment_is_dated_into_a_month_that_was_closed_before_it_was_found(
    played: list[Lots],
) -> None:
    closed = {one.month: one.closed_at for one in ClosedMonth.objects.all()}
    late = [
        one
        for one in Payment.objects.all()
        if (at := closed.get(one.paid_on.replace(day=1))) and one.entered_at > at
    ]

    assert [str(one.customer) for one in late] == ["Hillside box scheme"]


def test_a_cost_card_was_saved_before_a_batch_that_came_inside_its_range(
    played: list[Lots],
) -> None:
    [found] = outcomes()

    assert found.came is not None
    assert found.came.is_inside


def test_a_recall_is_open_and_some_were_told_and_some_not(played: list[Lots]) -> None:
    state = state_of(Recall.objects.get())
    told = [call.reached for call in state.calls]
    codes = [lot.code for lot in state.frozen.lots]

    assert state.is_open
    assert sorted(told) == [False, True]
    assert len(state.frozen.recipients) == 3
    assert state.frozen.unnamed
    assert GivenAway.objects.filter(entry__lines__lot__code__in=codes).exists()


def test_its_kitchens_are_restaurants_and_its_sales_carry_two_rates(played: list[Lots]) -> None:
    rates = set(SaleLine.objects.values_list("tax_ppm", flat=True))
    kitchens = Sale.objects.filter(place__kind=PlaceKind.KITCHENS)

    assert rates == {0, 90_000}
    assert kitchens.values("customer").distinct().count() >= 3
