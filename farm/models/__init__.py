"""What this farm knows of itself; one module a noun."""

from farm.models import lots
from farm.models.accounts import invoices
from farm.models.accounts.invoices import (
    MONEY_MOVES,
    NO_MONEY_MOVES,
    Invoice,
    InvoiceKind,
    InvoiceLine,
    Method,
    Payment,
    Settling,
)
from farm.models.costs.saved_cards import SavedCard
from farm.models.day.calendar import CalendarAddress
from farm.models.goods import Goods, Grade, Loose, LooseGoods
from farm.models.growing import by_products
from farm.models.growing.by_products import ByProductChoice, ByProductWay
from farm.models.growing.growing import (
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
from farm.models.lots import (
    LoadLine,
    LotCard,
    Placing,
    Sale,
    SaleLine,
    SellingCost,
    Stage,
    StallDay,
)
from farm.models.months import closing
from farm.models.months.closing import Bill, BillKind, ClosedFile, ClosedMonth
from farm.models.orders import orders
from farm.models.orders.orders import (
    Allocation,
    AllocationLine,
    BoxDelivery,
    BoxLeft,
    DeliveredLine,
    DeliveryNote,
    Order,
    OrderLine,
    OrderPause,
    OrderStop,
    Share,
)
from farm.models.people.people import Farm, Person, Role, WeightUnit, the_farm
from farm.models.people.sign_ins import SignIn
from farm.models.recording import phone
from farm.models.recording.phone import PhoneForm, Photo
from farm.models.records import records
from farm.models.records.records import PrivateWords, Record, Review, RunReadings
from farm.models.selling import stall
from farm.models.selling.pricing import AgreedPrice, Price, SalesTax, products_on, sales_tax_ppm
from farm.models.selling.stall import (
    CashUp,
    CashUpToken,
    CashWord,
    Discount,
    Given,
    GivenAway,
    Tap,
    TapOf,
    TillPrice,
    Token,
    TokensPaid,
)
from farm.models.starting import first_stock
from farm.models.starting.first_stock import StartWorkbook
from farm.models.store import counts
from farm.models.store.counts import Answered, StockCount, StockCountAnswer, StockCountLine
from farm.models.tracing import recalls
from farm.models.tracing.recalls import (
    Drill,
    DrillSignature,
    Recall,
    RecallCall,
    RecallLot,
    RecallNotice,
    RecallStanding,
)
from farm.models.trading import (
    Customer,
    Form,
    PackKind,
    PlaceKind,
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
    *lots.NEVER_CHANGED,
    *recalls.NEVER_CHANGED,
    *records.NEVER_CHANGED,
    *closing.NEVER_CHANGED,
    *counts.NEVER_CHANGED,
    *orders.NEVER_CHANGED,
    *phone.NEVER_CHANGED,
    *invoices.NEVER_CHANGED,
    *first_stock.NEVER_CHANGED,
    *stall.NEVER_CHANGED,
    *by_products.NEVER_CHANGED,
)

__all__ = [
    "MONEY_MOVES",
    "NEVER_CHANGED",
    "NO_MONEY_MOVES",
    "AgreedPrice",
    "Allocation",
    "AllocationLine",
    "Answered",
    "Bill",
    "BillKind",
    "BoxDelivery",
    "BoxLeft",
    "ByProductChoice",
    "ByProductWay",
    "CalendarAddress",
    "CashUp",
    "CashUpToken",
    "CashWord",
    "ClosedFile",
    "ClosedMonth",
    "Customer",
    "DeliveredLine",
    "DeliveryNote",
    "Discount",
    "Drill",
    "DrillSignature",
    "Farm",
    "Form",
    "Given",
    "GivenAway",
    "Goods",
    "Grade",
    "Invoice",
    "InvoiceKind",
    "InvoiceLine",
    "LoadLine",
    "Loose",
    "LooseGoods",
    "LotCard",
    "Method",
    "Order",
    "OrderLine",
    "OrderPause",
    "OrderStop",
    "PackKind",
    "Payment",
    "Person",
    "PhoneForm",
    "Photo",
    "PlaceKind",
    "Placing",
    "Price",
    "PrivateWords",
    "Product",
    "Rate",
    "RateOf",
    "Recall",
    "RecallCall",
    "RecallLot",
    "RecallNotice",
    "RecallStanding",
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
    "SalesTax",
    "SavedCard",
    "SellingCost",
    "SellingPlace",
    "Settling",
    "Share",
    "Shelf",
    "SignIn",
    "Species",
    "Stage",
    "StallDay",
    "StandardTime",
    "StartWorkbook",
    "Steriliser",
    "StockCount",
    "StockCountAnswer",
    "StockCountLine",
    "Strain",
    "Supplier",
    "Supply",
    "Tap",
    "TapOf",
    "TillPrice",
    "Token",
    "TokensPaid",
    "Use",
    "WeightUnit",
    "products_on",
    "rate_on",
    "sales_tax_ppm",
    "the_farm",
]
