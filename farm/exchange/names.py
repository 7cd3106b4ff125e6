"""The addresses that events name things by: under the farm's own domain.

A farm without a GS1 company prefix names lots, places and parties by addresses of its own (CBV 2.0
section 8, user vocabulary; from memory). Made-up GS1 keys would be somebody else's. Where the farm
gets a prefix, its keys come in here and nowhere else.
"""

from dataclasses import dataclass

from django.conf import settings

from farm.models import Customer, SellingPlace, Shelf, Supplier
from ledger.models import Lot

# The prefix of our own words in a document.
PREFIX = "farm"


@dataclass(frozen=True)
class Names:
    """``address``: the farm's own, without a slash at its end."""

    address: str

    def own_words(self) -> str:
        return f"{self.address}/voc/"

    def word(self, word: str) -> str:
        return self.own_words() + word

    def farm(self) -> str:
        return f"{self.address}/farm"

    def lot(self, lot: Lot) -> str:
        return f"{self.address}/lot/{lot.code}"

    def entry(self, seq: int) -> str:
        return f"{self.address}/entry/{seq}"

    def shelf(self, shelf: Shelf) -> str:
        return f"{self.address}/shelf/{shelf.pk}"

    def place(self, place: SellingPlace) -> str:
        return f"{self.address}/place/{place.pk}"

    def supplier(self, supplier: Supplier) -> str:
        return f"{self.address}/supplier/{supplier.pk}"

    def customer(self, customer: Customer) -> str:
        """Name a customer by number: the name stays at home and may be erased."""
        return f"{self.address}/customer/{customer.number}"


def our_names() -> Names:
    return Names(settings.FARM_ADDRESS.rstrip("/"))
