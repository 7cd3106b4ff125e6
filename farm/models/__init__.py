"""What this farm knows of itself; one module a noun."""

from farm.models import closing, facts, first_stock, invoicing, ordering, recall, records
from farm.models.calendar import CalendarAddress
from farm.models.closing import Bill, BillKind, ClosedFile, ClosedMonth
from farm.models.facts import (
    Grade,
    LoadLine,
    LotCard,
    Placing,
    Sale,
    SaleLine,
    SellingCost,
    Stage,
    StallDay,
)
from farm.models.first_stock import StartWorkbook
from farm.models.growing import (
    Recipe,
    RecipeFor,
    RecipeLine,
    RecipeVersion,
    Room,
    Shelf,
    Species,
    Steriliser,
    Strain,
    Supply,
    Use,
)
from farm.models.invoicing import Invoice, InvoiceKind, InvoiceLine, Method, Payment
from farm.models.ordering import DeliveredLine, DeliveryNote, Order, OrderLine, OrderStop
from farm.models.people import Farm, Person, Role, WeightUnit, the_farm
from farm.models.planning import SavedCard
from farm.models.recall import Drill, DrillSignature, Recall, RecallCall, RecallNotice
from farm.models.records import PrivateWords, Record, Review, RunReadings
from farm.models.sign_ins import SignIn
from farm.models.trading import (
    Customer,
    Form,
    PackKind,
    PlaceKind,
    Price,
    Product,
    Rate,
    RateOf,
    SellingPlace,
    StandardTime,
    Supplier,
    rate_on,
)

# Tables whose rows the database refuses to change.
NEVER_CHANGED = (
    *facts.NEVER_CHANGED,
    *recall.NEVER_CHANGED,
    *records.NEVER_CHANGED,
    *closing.NEVER_CHANGED,
    *ordering.NEVER_CHANGED,
    *invoicing.NEVER_CHANGED,
    *first_stock.NEVER_CHANGED,
)

__all__ = [
    "NEVER_CHANGED",
    "Bill",
    "BillKind",
    "CalendarAddress",
    "ClosedFile",
    "ClosedMonth",
    "Customer",
    "DeliveredLine",
    "DeliveryNote",
    "Drill",
    "DrillSignature",
    "Farm",
    "Form",
    "Grade",
    "Invoice",
    "InvoiceKind",
    "InvoiceLine",
    "LoadLine",
    "LotCard",
    "Method",
    "Order",
    "OrderLine",
    "OrderStop",
    "PackKind",
    "Payment",
    "Person",
    "PlaceKind",
    "Placing",
    "Price",
    "PrivateWords",
    "Product",
    "Rate",
    "RateOf",
    "Recall",
    "RecallCall",
    "RecallNotice",
    "Recipe",
    "RecipeFor",
    "RecipeLine",
    "RecipeVersion",
    "Record",
    "Review",
    "Role",
    "Room",
    "RunReadings",
    "Sale",
    "SaleLine",
    "SavedCard",
    "SellingCost",
    "SellingPlace",
    "Shelf",
    "SignIn",
    "Species",
    "Stage",
    "StallDay",
    "StandardTime",
    "StartWorkbook",
    "Steriliser",
    "Strain",
    "Supplier",
    "Supply",
    "Use",
    "WeightUnit",
    "rate_on",
    "the_farm",
]
