"""Plans that were saved, so that they can be compared with what came true."""

from django.db import models

from farm.models.growing.growing import Strain
from farm.models.people.people import Person


class SavedCard(models.Model):
    """A cost card as it stood: what went in, what came out, and the range that was expected.

    ``stated``: the card's whole input as JSON, enough to work it out again. Costs are money per
    kilo; ``low`` to ``high`` is the range of the kilo picked, the one the book can answer. None:
    so many batches were expected to give nothing that there is no such cost.
    """

    name = models.CharField(max_length=80)
    version = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    strain = models.ForeignKey(Strain, models.PROTECT, related_name="saved_cards")
    stated = models.TextField()
    placed_money = models.BigIntegerField("cost of a kilo sold at the place")
    picked_low_money = models.BigIntegerField(null=True)
    picked_median_money = models.BigIntegerField(null=True)
    picked_high_money = models.BigIntegerField(null=True)

    class Meta:
        ordering = ("-made_at", "-pk")
        constraints = [models.UniqueConstraint(fields=("name", "version"), name="saved_card_once")]

    def __str__(self) -> str:
        return f"{self.name}, version {self.version}"
