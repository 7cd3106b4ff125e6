"""The book as a Django app; its triggers are put back after every migrate."""

from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate


class LedgerConfig(AppConfig):
    name = "ledger"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        post_migrate.connect(_install_triggers, dispatch_uid="ledger-triggers")


def _install_triggers(using: str, **_: Any) -> None:
    from ledger import append_only

    append_only.install(connections[using])
