"""Keep cultures going: transfer them, clone them from a pick."""

from farm.actions.common import Doing, Recorded
from farm.actions.cultures import clone_culture, transfer_culture
from farm.models import Stage, Use
from farm.pages.forms.doing import DoingForm
from farm.pages.forms.fields import CountField, LotField, MassField
from farm.queries.stock import supplies_on_hand


class MediumForm(DoingForm):
    """What the culture was put on: dishes, agar, jars, if the farm books them."""

    group_titles = {"medium": "On what medium"}

    def build(self) -> None:
        self.offer_draws("medium", supplies_on_hand(Use.CULTURE))


class TransferForm(MediumForm):
    source = LotField(Stage.CULTURE, label="From which culture")
    used = CountField(label="Portions used up", noun="portions", initial=1)
    portions = CountField(label="Portions made", noun="portions")

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return transfer_culture(
            doing,
            source=said["source"],
            used=said["used"],
            portions=said["portions"],
            medium=self.drawn("medium"),
        )


class CloneForm(MediumForm):
    source = LotField(Stage.CROP, label="From which pick")
    piece_mg = MassField(label="Weight of the piece taken")
    portions = CountField(label="Portions made", noun="portions")

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return clone_culture(
            doing,
            source=said["source"],
            piece_mg=said["piece_mg"],
            portions=said["portions"],
            medium=self.drawn("medium"),
        )
