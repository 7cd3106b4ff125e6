"""The book's tables: facts that never change, and what is worked from them.

Facts: Item, Lot (its description), Entry, Line, Charge, Mark, Seal. The database refuses to
change or delete them (``append_only``). Worked: Flow, Edge and the last columns of Lot; they can
be rebuilt from the facts at any time (``working``).

Quantities are whole numbers: mass in mg, volume in microlitres, count in pieces.
Money is whole numbers of 1/10,000 of the currency unit.
"""

from django.db import models
from django.db.models import Exists, OuterRef, Q

from ledger.standing import EntryQuerySet, StandingQuerySet

KINDS = ("materials", "paid", "own", "energy", "room")


class Dimension(models.TextChoices):
    MASS = "mass", "mass (mg)"
    VOLUME = "volume", "volume (microlitres)"
    COUNT = "count", "count (pieces)"


class Role(models.TextChoices):
    """What a line does to its lot. Within one entry a lot's lines work in this order."""

    BOUGHT = "bought"
    MADE = "made"
    BACK = "back"
    COUNTED = "counted"
    SHRUNK = "shrunk"
    LOST = "lost"
    USED = "used"
    SOLD = "sold"
    # Worked only, never stated: cost that landed on an empty lot.
    STRANDED = "stranded"


class CostKind(models.TextChoices):
    MATERIALS = "materials"
    PAID = "paid", "paid hours"
    OWN = "own", "own hours"
    ENERGY = "energy"
    ROOM = "room"


class CostColumns(models.Model):
    """Five whole-number amounts, each kind conserved alone."""

    materials = models.BigIntegerField(default=0)
    paid = models.BigIntegerField(default=0)
    own = models.BigIntegerField(default=0)
    energy = models.BigIntegerField(default=0)
    room = models.BigIntegerField(default=0)

    class Meta:
        abstract = True

    @property
    def cost(self) -> tuple[int, int, int, int, int]:
        return (self.materials, self.paid, self.own, self.energy, self.room)


class Head(models.Model):
    """The one row under whose lock entries are given their place in the order."""

    seq = models.BigIntegerField(default=0)
    lots = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="ledger_one_head")]


class Item(models.Model):
    """What something is, and in which whole number it is counted.

    ``alike``: items of one word can stand in for one another wherever they go in together; one
    without a word only for itself.
    """

    name = models.CharField(max_length=120, unique=True)
    dimension = models.CharField(max_length=6, choices=Dimension)
    alike = models.CharField(max_length=40, blank=True)

    def __str__(self) -> str:
        return self.name


class Entry(models.Model):
    """One thing that happened. ``place`` is where it stands: its own seq, or the amended one's.

    ``happened_on`` and ``utc_offset_min``: the date and the clock where it happened, as they were
    then; neither moves when the clock's rules do, or the farm.
    """

    seq = models.BigIntegerField(primary_key=True)
    place = models.BigIntegerField(db_index=True)
    kind = models.CharField(max_length=40)
    happened_at = models.DateTimeField()
    happened_on = models.DateField(db_index=True)
    utc_offset_min = models.SmallIntegerField(default=0)
    recorded_at = models.DateTimeField()
    by = models.BigIntegerField()
    reason = models.CharField(max_length=300, blank=True)
    uuid = models.UUIDField(unique=True)
    amends = models.ForeignKey("self", models.PROTECT, null=True, related_name="amendments")
    takes_back = models.BooleanField(default=False)
    particulars = models.TextField(default="{}")
    fingerprint = models.CharField(max_length=64)

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering = ("seq",)
        constraints = [
            models.CheckConstraint(
                condition=Q(amends=None, place=models.F("seq"), takes_back=False)
                | Q(amends=models.F("place"), place__lt=models.F("seq")),
                name="ledger_entry_place",
            )
        ]

    def __str__(self) -> str:
        return f"entry {self.seq} ({self.kind})"

    @property
    def is_taken_back(self) -> bool:
        """Whether an amendment takes all of it back (one query)."""
        return self.amendments.filter(takes_back=True).exists()


def taken_back(entry: str) -> Exists:
    """Ask within a query whether the entry that a row names as ``entry`` was taken back."""
    return Exists(Entry.objects.filter(amends=OuterRef(entry), takes_back=True))


class Lot(CostColumns):
    """A quantity of one item with one origin; the columns from ``quantity`` on are worked.

    ``part_of``: the lot that it was split off; what was picked of that one before counts for both.
    """

    code = models.CharField(max_length=12, unique=True)
    item = models.ForeignKey(Item, models.PROTECT, related_name="lots")
    made_by = models.ForeignKey(Entry, models.PROTECT, related_name="lots_made")
    unit_mass_mg = models.BigIntegerField(null=True)
    part_of = models.ForeignKey("self", models.PROTECT, null=True, related_name="parts")

    quantity = models.BigIntegerField(default=0)
    shares_open = models.BooleanField(default=False)
    held = models.BooleanField(default=False)

    objects = StandingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gte=0), name="ledger_lot_not_below_zero")
        ]

    def __str__(self) -> str:
        return self.code


class Line(models.Model):
    """What an entry states about one lot. Every number of an amendment's line is a difference.

    ``money``: what was paid (bought). ``basis``: the share of the entry's cost (made), or
    the quantity that what was taken is worth as much as, where its worth is stated (used), or
    what one of the rest is worth, where what was lost shares with it by ``worth`` (lost).
    ``given_mg``: the weight that a pick took (used). What it shares by the weight still expected
    is worked from ``turn``, which of the times that a lot gives; ``pieces``, those then on hand;
    and of these ``turn_mg``, the weight planned of this turn, and ``later_mg``, of later ones.
    ``worth``: what a by-product is worth, in money: it takes so much cost, and no more than there
    is, before the rest is shared (made), or out of its lot (used, and what of a loss is worth it).
    ``planned_loss_ppm`` of what was made, or ``planned_loss_count``, leaves without cost (made);
    what is split off takes its count along (used).
    ``closes``: 1 where a lot that was picked is spent (lost). ``returns``: the sale taken back.
    """

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="lines")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="lines")
    role = models.CharField(max_length=8, choices=Role)
    quantity = models.BigIntegerField()
    money = models.BigIntegerField(default=0)
    basis = models.BigIntegerField(default=0)
    given_mg = models.BigIntegerField(default=0)
    turn = models.SmallIntegerField(default=0)
    pieces = models.BigIntegerField(default=0)
    turn_mg = models.BigIntegerField(default=0)
    later_mg = models.BigIntegerField(default=0)
    worth = models.BigIntegerField(default=0)
    planned_loss_ppm = models.BigIntegerField(default=0)
    planned_loss_count = models.BigIntegerField(default=0)
    closes = models.SmallIntegerField(default=0)
    returns = models.ForeignKey("self", models.PROTECT, null=True, related_name="returned_by")

    objects = StandingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=("entry", "lot", "role"), name="ledger_line_once_per_role"
            ),
            models.CheckConstraint(
                condition=~Q(role=Role.STRANDED), name="ledger_line_role_is_stated"
            ),
        ]


class Charge(models.Model):
    """Labour, energy or room time that an entry adds to its outputs, at the rate of the day.

    ``lot``: the lot of the entry that it falls on, before anything is shared of it.
    ``quantity_milli``: thousandths of an hour, kWh or shelf-day. ``rate``: money per unit.
    """

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="charges")
    kind = models.CharField(max_length=9, choices=CostKind)
    amount = models.BigIntegerField()
    quantity_milli = models.BigIntegerField(default=0)
    rate = models.BigIntegerField(default=0)
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="charges")

    objects = StandingQuerySet.as_manager()


class Mark(models.Model):
    """An entry puts a lot on hold, or releases it; the last standing mark counts."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="marks")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="marks")
    held = models.BooleanField()

    objects = StandingQuerySet.as_manager()


class Seal(models.Model):
    """The hash chain in the order of entries: each digest covers the one before."""

    entry = models.OneToOneField(Entry, models.PROTECT, primary_key=True, related_name="seal")
    digest = models.CharField(max_length=64)


class Flow(CostColumns):
    """Worked: what an entry, as amended, did to a lot in one role, and the cost it moved."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="flows")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="flows")
    role = models.CharField(max_length=8, choices=Role)
    quantity = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=("lot", "entry", "role"), name="ledger_flow_once")
        ]


class Edge(models.Model):
    """Worked: ``quantity`` of src went into dst at entry; ``part`` of dst is credited to it."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="edges")
    src = models.ForeignKey(Lot, models.PROTECT, related_name="edges_out", db_index=False)
    dst = models.ForeignKey(Lot, models.PROTECT, related_name="edges_in", db_index=False)
    quantity = models.BigIntegerField()
    part = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=("src", "dst", "entry"), name="ledger_edge_forward")
        ]
        indexes = [models.Index(fields=("dst", "src"), name="ledger_edge_back")]


class Waiting(models.Model):
    """A submission that the book refused, kept whole outside the book until it is answered."""

    uuid = models.UUIDField()
    kind = models.CharField(max_length=40)
    payload = models.TextField()
    refusal = models.CharField(max_length=600)
    by = models.BigIntegerField()
    kept_at = models.DateTimeField()
    lots = models.ManyToManyField(Lot, related_name="waiting")
    answer = models.CharField(max_length=300, blank=True)
    answered_at = models.DateTimeField(null=True)
