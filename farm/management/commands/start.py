"""Ask what a farm must say of itself, and make it and its first account."""

from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from farm.actions.starting import Account, refuse_second_farm, start_farm
from farm.models.people import Farm

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


class Command(BaseCommand):
    help = "Start a farm: asks its name, place, time zone, currency, units and first account."

    def add_arguments(self, parser: ArgumentParser) -> None:
        for option, question, _ in QUESTIONS:
            parser.add_argument(f"--{option.replace('_', '-')}", help=question)
        parser.add_argument("--password", help="Asked without showing it when not given")
        parser.add_argument("--no-input", action="store_true", help="Ask nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        try:
            refuse_second_farm()
            answers = self.answers(options)
            account = Account(answers.pop("account"), answers.pop("password"))
            farm = Farm(**answers)
            owner = start_farm(farm, account)
        except ValidationError as refusal:
            raise CommandError(sentences(refusal)) from refusal
        self.stdout.write(
            f"{farm} is ready. Sign in as {owner}; you sign entries {owner.initials}."
        )
        self.stdout.write("Serve the site with: manage.py runserver")

    def answers(self, options: dict[str, Any]) -> dict[str, str]:
        """Take each answer from its option, else ask, else use the usual one."""
        answers = {}
        for option, question, usual in QUESTIONS:
            answer = options[option]
            if answer is None and not options["no_input"]:
                answer = input(f"{question}{f' [{usual}]' if usual else ''}: ").strip()
            answers[option] = answer or usual
        answers["password"] = options["password"] or (
            "" if options["no_input"] else asked_password()
        )
        return answers


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
