"""The pages that record: of an order that is delivered."""

from farm.pages.deeds import Deed
from farm.pages.orders import order_forms

DEEDS = (Deed(order_forms.DeliverForm, names_customers=True),)
