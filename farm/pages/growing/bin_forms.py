"""A bin that is topped up."""

from farm.actions.common import Doing, Recorded
from farm.actions.growing.supplies import top_up
from farm.kinds.growing import TOP_UP
from farm.models import Shelf, Stage
from farm.pages.fields import LotsField, RowField
from farm.pages.recording_form import DoingForm


class TopUpForm(DoingForm):
    """The rest and the new sack become one new lot; its code goes on the bin."""

    kind = TOP_UP
    lots = LotsField(Stage.SUPPLY, label="What is in the bin now")
    shelf = RowField(
        label="Where it stands", queryset=Shelf.objects.select_related("room"), required=False
    )

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return top_up(doing, lots=said["lots"], shelf=said["shelf"])
