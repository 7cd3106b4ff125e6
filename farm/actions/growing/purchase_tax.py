"""Purchase tax: what is bought costs what was paid, with its tax unless the farm reclaims it."""

from dataclasses import dataclass

from farm.actions.selling.pricing import to_cent
from farm.kinds.growing import Delivery
from farm.models import the_farm
from farm.units import show_money
from ledger.amounts import MILLION
from ledger.errors import Malformed


@dataclass(frozen=True)
class Landed:
    """What was paid, the tax in it, and whether the farm reclaimed it then."""

    paid_money: int
    tax_money: int = 0
    reclaimed: bool = False

    @property
    def cost_money(self) -> int:
        return self.paid_money - self.tax_money if self.reclaimed else self.paid_money

    @property
    def particulars(self) -> Delivery:
        """Both amounts and what was done, where a tax was stated."""
        if not self.tax_money:
            return Delivery()
        return Delivery(
            paid_money=self.paid_money,
            purchase_tax_money=self.tax_money,
            purchase_tax_reclaimed=self.reclaimed,
        )


def landed(paid_money: int, tax_money: int) -> Landed:
    """Say what something costs: 121.00 with 21.00 tax is 100.00 where the tax is reclaimed."""
    farm = the_farm()
    if tax_money < 0 or (tax_money and tax_money >= paid_money):
        tax, paid = show_money(tax_money, farm.currency), show_money(paid_money, farm.currency)
        raise Malformed(
            f"A purchase tax of {tax} is not part of {paid}. State what was paid with the tax in "
            "it, and how much of that is tax."
        )
    return Landed(paid_money, tax_money, reclaimed=farm.reclaims_purchase_tax)


def tax_within(paid_money: int, rate_ppm: int) -> int:
    """Find the tax in a sum at a rate, half up to the cent: in 121.00 at 21 % it is 21.00."""
    return to_cent(paid_money * rate_ppm, MILLION + rate_ppm)
