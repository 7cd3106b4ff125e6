"""The farm itself and the people who work with its book."""

from zoneinfo import ZoneInfo, available_timezones

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models

from farm.gs1 import is_company_prefix, is_gln
from farm.habits import HABITS


def is_time_zone(name: str) -> None:
    """Refuse a name that the time zone database does not know."""
    if name not in available_timezones():
        raise ValidationError(
            f"“{name}” is not a time zone. Give a name such as Europe/Madrid or America/Chicago."
        )


is_currency_code = RegexValidator(
    r"^[A-Z]{3}\Z", "Give the currency as three capital letters, such as EUR or USD (ISO 4217)."
)


class WeightUnit(models.TextChoices):
    KILOGRAM = "kg", "kilograms"
    POUND = "lb", "pounds"


class Farm(models.Model):
    """The one farm of this site. Its name and place head every record and report."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    name = models.CharField(max_length=80)
    place = models.CharField(max_length=120, help_text="Address or parish, as records must show it")
    time_zone = models.CharField(max_length=64, validators=[is_time_zone])
    currency = models.CharField(max_length=3, validators=[is_currency_code])
    weight_unit = models.CharField(
        max_length=2, choices=WeightUnit.choices, default=WeightUnit.KILOGRAM
    )
    habit = models.CharField(
        "writes",
        max_length=11,
        choices=[(name, one.words) for name, one in HABITS.items()],
        default="point",
        help_text="How numbers, money and days are written here",
    )
    altitude_m = models.SmallIntegerField(
        default=0, help_text="Metres above the sea: water boils cooler higher up"
    )

    reclaims_purchase_tax = models.BooleanField(
        "reclaims the tax on what it buys",
        default=False,
        help_text="Then what is bought costs what was paid without its tax; else with it",
    )

    tax_number = models.CharField(
        "tax number", max_length=30, blank=True, help_text="As invoices must show it"
    )
    exemption_words = models.CharField(
        "words for what carries no tax",
        max_length=200,
        blank=True,
        help_text="The reference that an invoice must give for goods sold without tax",
    )
    simple_limit_money = models.PositiveBigIntegerField(
        "simplified invoices up to, tax included", default=1_000_000
    )
    payment_days = models.PositiveSmallIntegerField("days to pay an invoice", default=14)
    pay_to = models.CharField(
        "pay to", max_length=200, blank=True, help_text="Bank account, as invoices show it"
    )

    company_prefix = models.CharField(
        "GS1 company prefix",
        max_length=12,
        blank=True,
        validators=[is_company_prefix],
        help_text="Only if GS1 gave the farm one; the GTINs of its products begin with it",
    )
    gln = models.CharField(
        "GLN of the farm",
        max_length=13,
        blank=True,
        validators=[is_gln],
        help_text="Its number as a place and a partner, if GS1 gave it one",
    )

    is_demo = models.BooleanField(default=False, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(id=1),
                name="farm_is_one",
                violation_error_message="There is one farm on this site.",
            ),
            models.CheckConstraint(
                condition=models.Q(altitude_m__gte=-430, altitude_m__lte=5500),
                name="farm_altitude_is_lived_at",
                violation_error_message="Give the altitude in metres, from -430 to 5500.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class Role(models.TextChoices):
    OWNER = "owner", "owner"
    HELPER = "helper", "helper"
    SELLER = "seller", "seller"
    BOOKKEEPER = "bookkeeper", "bookkeeper"
    INSPECTOR = "inspector", "inspector"


class Person(models.Model):
    """Someone with a sign-in of their own; the book keeps only this row's number.

    Initials stand on records beside the time, so no two people share them. ``pin_hash``: what
    they sign with at a tablet where somebody else is signed in; blank, they cannot.
    ``pin_misses``: wrong PINs in a row. An inspector has a span, ``from_day`` to ``until_day``,
    and a last day to look, ``expires_on``; nobody else has one.
    """

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="person"
    )
    role = models.CharField(max_length=10, choices=Role.choices)
    initials = models.CharField(
        max_length=4,
        unique=True,
        error_messages={"unique": "Somebody else signs with these initials. Give others."},
    )
    own_name = models.CharField(
        "full name",
        max_length=120,
        blank=True,
        help_text="Stands beside the initials on records; empty: the name signed in with",
    )
    pin_hash = models.CharField(max_length=128, blank=True, editable=False)
    pin_misses = models.PositiveSmallIntegerField(default=0, editable=False)
    weight_unit = models.CharField(
        "weighs in",
        max_length=2,
        choices=WeightUnit.choices,
        blank=True,
        help_text="What a bare number means, and what is shown first; empty: as the farm does",
    )

    from_day = models.DateField("sees from", null=True, blank=True)
    until_day = models.DateField("sees until", null=True, blank=True)
    expires_on = models.DateField("last day to look", null=True, blank=True)

    # Whose sign-in this person enters under, after taking over a shared device by PIN.
    entering_under: "Person | None" = None

    class Meta:
        verbose_name_plural = "people"
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="person_role"),
            models.CheckConstraint(
                condition=models.Q(
                    role=Role.INSPECTOR,
                    from_day__isnull=False,
                    until_day__gte=models.F("from_day"),
                    expires_on__isnull=False,
                )
                | models.Q(
                    ~models.Q(role=Role.INSPECTOR),
                    from_day__isnull=True,
                    until_day__isnull=True,
                    expires_on__isnull=True,
                ),
                name="person_inspects_a_span",
                violation_error_message="An inspector, and nobody else, has a first and a last day "
                "to see, the last not before the first, and a last day to look.",
            ),
        ]

    def __str__(self) -> str:
        return self.user.get_username()

    @property
    def full_name(self) -> str:
        return self.own_name or self.user.get_username()


def the_farm() -> Farm:
    """Return the one farm; one query. Raises Farm.DoesNotExist before `manage.py start`."""
    return Farm.objects.get()
