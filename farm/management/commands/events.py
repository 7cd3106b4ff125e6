"""Write what happened as events that other programs can read: EPCIS 2.0 in JSON-LD."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from farm.exchange.epcis import document
from farm.management.answering import made_here
from farm.management.spans import add_span_arguments, asked_for


class Command(BaseCommand):
    help = "Events of a span of days or of a lot's trace, as EPCIS 2.0 (ISO/IEC 19987) JSON-LD."

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_span_arguments(parser, "the file to write, such as events.jsonld")

    def handle(self, *_: Any, **options: Any) -> None:
        made_here()
        written = document(asked_for(options).entries, timezone.now())
        options["out"].write_text(json.dumps(written, ensure_ascii=False, indent=1) + "\n")
        count = len(written["epcisBody"]["eventList"])
        self.stdout.write(f"Wrote {count} events to {options['out']}")
