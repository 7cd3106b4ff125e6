"""The addresses that events name things by: GS1 keys where there are some, else the farm's own.

What has no GS1 key is named by an address under the farm's own domain (CBV 2.0 section 8, user
vocabulary; from memory): a made-up key would be somebody else's. Keys come in here and nowhere
else, as GS1 Digital Link: packs as a class by GTIN and lot, places and parties by GLN.
"""

from dataclasses import dataclass

from django.conf import settings

from farm import gs1
from farm.models import Customer, Farm, SellingPlace, Shelf, Supplier
from ledger.models import Lot

# The prefix of our own words in a document.
PREFIX = "farm"


@dataclass(frozen=True)
class Names:
    """``address``: the farm's own, without a slash at its end. ``gln``: of the farm, if any."""

    address: str
    gln: str = ""

    def own_words(self) -> str:
        return f"{self.address}/voc/"

    def word(self, word: str) -> str:
        return self.own_words() + word

    def farm(self) -> str:
        return gs1.link_of_place(self.gln) if self.gln else f"{self.address}/farm"

    def lot(self, lot: Lot) -> str:
        """Name packs by the GTIN that they were packed under, any other lot by its code alone."""
        gtin = lot.card.gtin if hasattr(lot, "card") else ""
        if gtin:
            return gs1.link_of_lot(gs1.CANONICAL, gtin, lot.code)
        return f"{self.address}/lot/{lot.code}"

    def entry(self, seq: int) -> str:
        return f"{self.address}/entry/{seq}"

    def shelf(self, shelf: Shelf) -> str:
        """Name a shelf as a part of its room, where the room has a GLN."""
        if shelf.room.gln:
            return gs1.link_of_place(shelf.room.gln, str(shelf.pk))
        return f"{self.address}/shelf/{shelf.pk}"

    def place(self, place: SellingPlace) -> str:
        return gs1.link_of_place(place.gln) if place.gln else f"{self.address}/place/{place.pk}"

    def supplier(self, supplier: Supplier) -> str:
        if supplier.gln:
            return gs1.link_of_party(supplier.gln)
        return f"{self.address}/supplier/{supplier.pk}"

    def customer(self, customer: Customer) -> str:
        """Name a customer by GLN or number: the name stays at home and may be erased."""
        if customer.gln:
            return gs1.link_of_party(customer.gln)
        return f"{self.address}/customer/{customer.number}"


def names_of(farm: Farm) -> Names:
    return Names(own_address(), farm.gln)


def own_address() -> str:
    return settings.FARM_ADDRESS.rstrip("/")
