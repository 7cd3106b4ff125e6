"""The pages that record: of supplies, cultures, grain and blocks."""

from farm.pages.deeds import Deed
from farm.pages.growing import (
    bin_forms,
    block_forms,
    culture_forms,
    grain_forms,
    harvest_forms,
    read_back,
    supply_forms,
)

DEEDS = (
    Deed(supply_forms.ReceiveForm),
    Deed(bin_forms.TopUpForm, "lots"),
    Deed(supply_forms.BuyCultureForm),
    Deed(culture_forms.TransferForm, "source"),
    Deed(culture_forms.CloneForm, "source"),
    Deed(grain_forms.PrepareGrainForm),
    Deed(grain_forms.SteriliseForm, "lots", read_back=read_back.run_words),
    Deed(grain_forms.InoculateGrainForm, "grain"),
    Deed(block_forms.FillBlocksForm),
    Deed(block_forms.InoculateBlocksForm, "bags"),
    Deed(block_forms.CheckForm, "lot", read_back=read_back.check_words),
    Deed(block_forms.MoveToFruitingForm, "lot"),
    Deed(block_forms.MoveForm, "lot"),
    Deed(harvest_forms.PickForm, "blocks"),
    Deed(harvest_forms.KeepSpentForm, "lot"),
    Deed(harvest_forms.SpentForm, "lot"),
)
