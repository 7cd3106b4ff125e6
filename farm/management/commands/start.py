"""Ask what a farm must say of itself, and make it and its first account."""

from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from farm.actions.starting.starting import Account, refuse_second_farm, start_farm
from farm.models.people.people import Farm
from farm.models.trading import RateOf
from farm.units import UnitError, read_money

# Option, question, answer taken when the reply is empty.
QUESTIONS = (
    ("name", "Name of the farm", ""),
    ("place", "Place, as records must show it", ""),
    ("time_zone", "Time zone (such as Europe/Madrid)", "UTC"),
    ("currency", "Currency (three letters, such as EUR)", "EUR"),
    ("weight_unit", "Weights in kg or lb", "kg"),
    ("altitude_m", "Metres above the sea", "0"),
    ("account", "Your name, to sign in with (letters, digits and . _ - only)", ""),
)
# What an action charges; one left out is asked for by the first action that needs it.
RATES = (
    (RateOf.PAID_HOUR, "What a paid hour costs, wages with everything on top"),
    (RateOf.OWN_HOUR, "What an hour of your own is worth to you"),
    (RateOf.KWH, "What a kilowatt-hour costs"),
    (RateOf.BLOCK_DAY, "What one block's place on a shelf costs a day (rent, heat, air)"),
)


class Command(BaseCommand):
    help = "Start a farm: asks its name, place, time zone, currency, units and first account."

    def add_arguments(self, parser: ArgumentParser) -> None:
        for option, question, _ in QUESTIONS:
            parser.add_argument(f"--{option.replace('_', '-')}", help=question)
        for of, question in RATES:
            parser.add_argument(f"--{of.replace('_', '-')}", help=question)
        parser.add_argument("--password", help="Asked without showing it when not given")
        parser.add_argument("--no-input", action="store_true", help="Ask nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        try:
            refuse_second_farm()
            answers = self.answers(options)
            account = Account(answers.pop("account"), answers.pop("password"))
            farm = Farm(**answers)
            owner = start_farm(farm, account, self.rates(options, farm.currency))
        except ValidationError as refusal:
            raise CommandError(sentences(refusal)) from refusal
        except UnitError as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(
            f"{farm} is ready. Sign in as {owner}; you sign entries {owner.initials}."
        )
        self.stdout.write("Serve the site with: manage.py runserver")

    def answers(self, options: dict[str, Any]) -> dict[str, str]:
        """Take each answer from its option, else ask, else use the usual one."""
        answers = {}
        for option, question, usual in QUESTIONS:
            answers[option] = answered(options, option, question, usual=usual)
        answers["password"] = options["password"] or (
            "" if options["no_input"] else asked_password()
        )
        return answers

    def rates(self, options: dict[str, Any], currency: str) -> dict[str, int]:
        """Read the rates that are given, in money; an empty answer leaves one for later."""
        said = {of: answered(options, of.value, question) for of, question in RATES}
        return {of.value: read_money(text, currency) for of, text in said.items() if text}


def answered(options: dict[str, Any], option: str, question: str, *, usual: str = "") -> str:
    answer: str | None = options[option]
    if answer is None and not options["no_input"]:
        answer = input(f"{question}{f' [{usual}]' if usual else ''}: ").strip()
    return answer or usual


def asked_password() -> str:
    """Ask twice, so that a slip of the finger locks nobody out."""
    while (password := getpass("Password: ")) != getpass("The same again: "):
        print("The two were not the same. Once more.")
    return password


def sentences(refusal: ValidationError) -> str:
    """Word a refusal for the terminal, naming the answer that each part is about."""
    if not hasattr(refusal, "error_dict"):
        return " ".join(refusal.messages)
    named = refusal.message_dict.items()
    return "\n".join(f"{key.replace('_', ' ')}: {' '.join(said)}" for key, said in named)
