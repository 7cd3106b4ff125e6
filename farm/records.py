"""The kinds of records kept beside the book: one entry of the table below is one form.

A kind says what is asked, in which unit, whether somebody else must look it through, and what to
beware of. Values are whole numbers inside (thousandths of a degree, mg) or words; dates are ISO.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from ledger.errors import Malformed

# 21 CFR 112.161(b): these are reviewed, dated and signed by a supervisor or responsible party.
TRAINING_RULE = "21 CFR 112.161(b), for training records under 112.30(b)"
CLEANING_RULE = "21 CFR 112.161(b), for cleaning records under 112.140(b)"
WATER_RULE = "21 CFR 112.161(b), for water records under 112.50(b)"
ICE_POINT_MILLI_C = 0

Values = Mapping[str, Any]


class Holds(Enum):
    """What a field holds, and in which whole unit."""

    WORDS = "words"
    CHOICE = "choice"
    DATE = "date"
    TEMPERATURE = "temperature"  # thousandths of a degree Celsius
    RISE = "rise"  # a difference of temperatures, the same unit
    MASS = "mass"  # mg


@dataclass(frozen=True)
class Field:
    """One thing asked. A name ends in its unit, as everywhere."""

    name: str
    label: str
    holds: Holds = Holds.WORDS
    required: bool = True
    choices: tuple[str, ...] = ()
    hint: str = ""
    usual: int | None = None


@dataclass(frozen=True, kw_only=True)
class RecordKind:
    """``review``: the rule that asks for a second signature, if one does.

    ``a_day``: how many are due each day in a room that has any; a day without one is a gap that
    the binder names.
    ``erasable``: what is said stands in a row that can be erased. ``owner_only``: nobody else
    sees it. ``check`` refuses values that do not stand together.
    """

    slug: str
    title: str
    fields: tuple[Field, ...]
    asks_room: bool = False
    asks_lot: bool = False
    review: str = ""
    caution: str = ""
    a_day: int = 0
    erasable: bool = False
    owner_only: bool = False
    check: Callable[[Values], None] | None = None


def _need_action(values: Values, wrong: str) -> None:
    if not values.get("done"):
        raise Malformed(f"{wrong} State what was done about it.")


def check_store(values: Values) -> None:
    """Ask what was done, and with the mushrooms, where a reading is outside its limits."""
    low, high = values.get("low_milli_c"), values["high_milli_c"]
    if low is not None and low > high:
        raise Malformed(
            f"The lower limit, {low / 1000:.1f} °C, is above the upper, {high / 1000:.1f} °C. "
            "Turn them round."
        )
    if is_excursion(values):
        said = f"{values['read_milli_c'] / 1000:.1f} °C is outside the limits."
        _need_action(values, said)
        if not values.get("disposition"):
            raise Malformed(f"{said} State what became of the mushrooms, by the farm's own plan.")


def is_excursion(values: Values) -> bool:
    """Say whether a store reading is outside its limits; on the limit it is within."""
    low = values.get("low_milli_c")
    read = values["read_milli_c"]
    return bool(read > values["high_milli_c"] or (low is not None and read < low))


def check_thermometer(values: Values) -> None:
    """0.9 °C in ice water is within 1.0 °C of the ice point, 1.1 °C is not."""
    off = abs(values["read_milli_c"] - ICE_POINT_MILLI_C)
    if off > values["allowed_milli_c"]:
        _need_action(values, f"It is {off / 1000:.1f} °C off the ice point, more than is allowed.")


def check_scale(values: Values) -> None:
    off = abs(values["read_mg"] - values["test_mg"])
    if off > values["allowed_mg"]:
        _need_action(values, f"The scale is {off / 1000:.1f} g off, more than is allowed.")


def check_water(values: Values) -> None:
    if values["meets"] == "no":
        _need_action(values, "The result does not meet its limit.")


DONE = Field("done", "What was done about it", required=False, hint="Needed where it was not right")
STORE, CLEANING, TRAINING, ILLNESS = "store-temperature", "cleaning", "training", "illness"

KINDS = (
    RecordKind(
        slug=STORE,
        title="Store temperature",
        fields=(
            Field(
                "read_milli_c", "Temperature read", Holds.TEMPERATURE,
                hint="As it stands, with its unit if it is another than the farm's: 3.4 C, 38 F",
            ),
            Field("high_milli_c", "Not above", Holds.TEMPERATURE, required=False,
                  hint="The farm's own limit; blank: as in the last reading here"),
            Field("low_milli_c", "Not below", Holds.TEMPERATURE, required=False,
                  hint="If there is such a limit"),
            Field("thermometer", "Read from", required=False, hint="Which thermometer or probe"),
            DONE,
            Field("disposition", "What became of the mushrooms", required=False,
                  hint="By the farm's own plan, where it was outside the limits"),
        ),
        asks_room=True,
        a_day=2,  # morning and evening: common practice, no source
        caution=(
            "A reading outside the limits is for the farm's own plan to answer, with your local "
            "food code and inspector. Nothing here says that food is safe."
        ),
        check=check_store,
    ),
    RecordKind(
        slug=CLEANING,
        title="Cleaning",
        fields=(
            Field("what", "What was cleaned"),
            Field("method", "Method", hint="How: washed, rinsed, sanitised, air-dried"),
            Field("product", "Product used", required=False),
            Field("concentration", "Concentration", required=False, hint="As mixed, with its unit"),
            Field("contact", "Contact time", required=False),
        ),
        asks_room=True,
        review=CLEANING_RULE,
        caution=(
            "Never mix bleach with acid or ammonia. Follow the product's label and your local "
            "code; wear what the label asks for."
        ),
    ),
    RecordKind(
        slug=TRAINING,
        title="Training",
        fields=(
            Field("topics", "Topics"),
            Field("people", "Who was trained", hint="By their initials"),
            Field("trainer", "Trainer"),
            Field("material", "Material and its version", required=False),
        ),
        review=TRAINING_RULE,
    ),
    RecordKind(
        slug="water",
        title="Water test",
        fields=(
            Field("source", "Source and sampling point"),
            Field("laboratory", "Laboratory, or own test"),
            Field("analyte", "Tested for"),
            Field("result", "Result, with its unit", hint="The value itself, not a tick"),
            Field("limit", "Limit, with its unit"),
            Field("meets", "Meets the limit", Holds.CHOICE, choices=("yes", "no")),
            DONE,
        ),
        review=WATER_RULE,
        check=check_water,
    ),
    RecordKind(
        slug="scale",
        title="Scale check",
        fields=(
            Field("scale", "Which scale"),
            Field("test_mg", "Test weight", Holds.MASS),
            Field("read_mg", "What it showed", Holds.MASS),
            Field("allowed_mg", "Difference allowed", Holds.MASS),
            DONE,
        ),
        caution="Selling by weight needs a scale approved and sealed under your local code.",
        check=check_scale,
    ),
    RecordKind(
        slug="thermometer",
        title="Thermometer check",
        fields=(
            Field("thermometer", "Which thermometer"),
            Field("read_milli_c", "Shown in ice water", Holds.TEMPERATURE,
                  hint="The ice point is 0 °C, 32 °F"),
            # Common practice, no source; the farm may state another.
            Field("allowed_milli_c", "Difference allowed", Holds.RISE, usual=1_000),
            DONE,
        ),
        check=check_thermometer,
    ),
    RecordKind(
        slug="pests",
        title="Pests",
        fields=(
            Field("device", "Trap or place", hint="Its number on the map"),
            Field("finding", "What was found", hint="Nothing found is a finding"),
            DONE,
            Field("product", "Product used", required=False),
        ),
        asks_room=True,
        caution="Use only what its label allows for a place where food is grown.",
    ),
    RecordKind(
        slug="visitors",
        title="Visitors",
        fields=(
            Field("who", "Who came"),
            Field("areas", "Where they went"),
            Field("rules", "Hygiene rules accepted", Holds.CHOICE, choices=("yes", "no")),
        ),
        erasable=True,
    ),
    RecordKind(
        slug="corrective",
        title="Corrective action",
        fields=(
            Field("problem", "What was wrong"),
            Field("cause", "Cause, as far as known"),
            Field("done", "What was done"),
            Field("prevents", "What keeps it from coming back", required=False),
            Field("closed_on", "Closed on", Holds.DATE, required=False),
        ),
        asks_room=True,
        asks_lot=True,
    ),
    RecordKind(
        slug="maintenance",
        title="Maintenance and certificates",
        fields=(
            Field("what", "Equipment"),
            Field("work", "Work done, or inspection"),
            Field("by_whom", "By whom", required=False, hint="Firm or inspector"),
            Field("certificate", "Certificate number", required=False),
            Field("valid_until", "Valid until", Holds.DATE, required=False),
        ),
        asks_room=True,
        caution=(
            "Pressure vessels, gas and wiring are under local code and licensed practice: have "
            "them inspected, and keep the certificate."
        ),
    ),
    RecordKind(
        slug=ILLNESS,
        title="Illness notes",
        fields=(
            Field("who", "Who"),
            Field("symptoms", "Class of symptoms", Holds.CHOICE,
                  choices=("stomach", "fever or jaundice", "open wound or boil",
                           "cough or breathing", "injury", "other")),
            Field("away_from", "Kept away from food from", Holds.DATE, required=False),
            Field("away_until", "Until", Holds.DATE, required=False),
            Field("touched", "What they had touched", required=False),
            Field("disposition", "What became of it", required=False),
        ),
        erasable=True,
        owner_only=True,
        caution=(
            "Write what was seen, never a diagnosis: that is a doctor's. Only owners see this; "
            "it is erased on request. Follow the law on health data where you are."
        ),
    ),
)  # fmt: skip

BY_SLUG = {kind.slug: kind for kind in KINDS}
OPEN_KINDS = tuple(kind for kind in KINDS if not kind.owner_only)
REVIEWED = tuple(kind.slug for kind in KINDS if kind.review)
