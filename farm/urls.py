"""Every address of the site, grouped by noun."""

from django.contrib.auth.views import LogoutView
from django.urls import path, register_converter

from farm.pages import all_actions as all_actions  # hands in what can be recorded
from farm.pages.accounts import invoices, payments
from farm.pages.addresses import RowConverter, WordConverter
from farm.pages.costs import against_plan, card, decisions, lot_answers
from farm.pages.day import calendar, today, wall_sheets
from farm.pages.growing import recipes
from farm.pages.lookups import lookups
from farm.pages.months import closing, months, where_it_went
from farm.pages.orders import allotting, orders, shares
from farm.pages.people import own_settings, people, sign_ins, taking_over
from farm.pages.recording import entries, entry_list, lots, phone, recording, sorting_out
from farm.pages.records import binder, exchange, photos, records
from farm.pages.selling import stalls, till
from farm.pages.site import style
from farm.pages.starting import first_hour, glossary, start_workbook
from farm.pages.store import check_weights, counts, dryings, in_store
from farm.pages.tracing import drills, labels, reach, recalls, scan, trace

register_converter(RowConverter, "row")
register_converter(WordConverter, "word")

# /sign-in/, /sign-out/, one's own sign-ins, and who is entering at a shared device
access = [
    path("sign-in/", sign_ins.SignInPage.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("sign-ins/", sign_ins.all_sign_ins, name="sign-ins"),
    path("own/", sign_ins.own_sign_ins, name="own-sign-ins"),
    path("own/ways/", own_settings.own_ways, name="own-ways"),
    path("own/password/", sign_ins.change_password, name="own-password"),
    path("who/", taking_over.who, name="who"),
    path("who/back/", taking_over.who_back, name="who-back"),
    path("who/<row:pk>/", taking_over.who_pin, name="who-pin"),
]

# /month/, /days/, /year/, /where/, /bills/
answering = [
    path("month/", months.month, name="month"),
    path("month/<word:key>/", months.month_shown, name="month-of"),
    path("days/", months.days, name="days"),
    path("year/<row:number>/", months.year, name="year"),
    path("month/<word:key>/close/", closing.close, name="month-close"),
    path("closed/<word:name>", closing.closed_file, name="closed-file"),
    path("where/", where_it_went.where, name="where"),
    path("where/<word:code>/", where_it_went.where_of_lot, name="where-of"),
    path("bills/", closing.bills, name="bills"),
    path("bills/<row:pk>/take-back/", closing.bill_back, name="bill-back"),
]

# /record/..., /unfinished/...
record = [
    path("record/", recording.record_index, name="record"),
    path("record/<slug:slug>/", recording.record, name="record-action"),
    path("unfinished/", sorting_out.unfinished_list, name="unfinished"),
    path("unfinished/<uuid:uuid>/drop/", sorting_out.drop, name="unfinished-drop"),
]

# /wall-sheets/...
on_the_wall = [
    path("wall-sheets/", wall_sheets.wall_sheets, name="wall-sheets"),
    path("wall-sheets/<slug:sheet>/<word:day>.pdf", wall_sheets.wall_sheet, name="wall-sheet"),
    path(
        "wall-sheets/<slug:sheet>/<word:day>/<row:number>/",
        wall_sheets.type_up,
        name="wall-type-up",
    ),
]

# What a phone asks for, so that it works without a signal.
on_the_phone = [
    path("worker.js", phone.worker, name="worker"),
    path("app.webmanifest", phone.manifest, name="manifest"),
    path("phone-now.json", phone.phone_now, name="phone-now"),
    path("not-sent/", phone.not_sent, name="not-sent"),
]

# /entries/..., /sales/
entry = [
    path("entries/", entry_list.entry_list, name="entries"),
    path("entries/<row:seq>/", entries.entry, name="entry"),
    path("entries/<row:seq>/photo/", photos.entry_photo, name="entry-photo"),
    path("photos/", photos.photo_from_phone, name="photo-from-phone"),
    path("photos/<row:pk>.jpg", photos.photo, name="photo"),
    path("photos/<row:pk>/take-out/", photos.photo_remove, name="photo-remove"),
    path("entries/<row:seq>/undo/", entries.undo_entry, name="entry-undo"),
    path("entries/<row:seq>/correct/", entries.correct, name="entry-correct"),
    path("sales/", entry_list.sale_list, name="sales"),
]

# /orders/..., /delivery-notes/..., /invoices/..., /payments/..., /owed/, statements
trade = [
    path("orders/", orders.order_list, name="orders"),
    path("orders/take/", orders.order_take, name="order-take"),
    path("orders/round/", orders.delivery_round, name="round"),
    path("orders/<row:pk>/", orders.order, name="order"),
    path("orders/<row:pk>/<slug:what>/", orders.order_less, name="order-less"),
    path("orders/packing-list/", allotting.packing_list_of, name="packing-list"),
    path("orders/<row:pk>/<word:day>/<slug:how>/", allotting.set_aside, name="set-aside"),
    path("shares/", shares.share_list, name="shares"),
    path("shares/take/", shares.share_take, name="share-take"),
    path("shares/<row:pk>/", shares.share, name="share"),
    path("shares/<row:pk>/left/<row:box>/", shares.box_left, name="box-left"),
    path("payments/<row:pk>/receipt/", shares.receipt, name="receipt"),
    path("delivery-notes/<slug:name>/", orders.note, name="note"),
    path("entries/<row:seq>/delivery-note/", orders.note_write, name="note-write"),
    path("entries/<row:seq>/invoice/", invoices.invoice_sale, name="invoice-sale"),
    path("invoices/", invoices.invoice_list, name="invoices"),
    path("invoices/issue/", invoices.invoice_issue, name="invoice-issue"),
    path("invoices/<slug:name>/", invoices.invoice, name="invoice"),
    path("invoices/<slug:name>/change/", invoices.invoice_change, name="invoice-change"),
    path("payments/", payments.payment_list, name="payments"),
    path("payments/<slug:what>/", payments.payment_new, name="payment-new"),
    path("payments/<row:pk>/put-right/", payments.payment_right, name="payment-right"),
    path("payments/<row:pk>/take-back/", payments.payment_back, name="payment-back"),
    path("check-weights/", check_weights.check_weights, name="check-weights"),
    path("owed/", payments.owed, name="owed"),
    path("customers/<row:pk>/statement/", payments.statement_of, name="statement"),
]

# /stall/...
stall = [
    path("stall/", stalls.stall_days, name="stall-days"),
    path("stall/<row:seq>/", stalls.stall_day, name="stall-day"),
    path("stall/<row:seq>/cash/", stalls.stall_cash, name="stall-cash"),
    path("stall/fees/<row:pk>/", stalls.fee_sheet, name="fee-sheet"),
    path("stall/till/<row:pk>/", till.till, name="till"),
    path("stall/till/<row:pk>/tap/", till.till_tap, name="till-tap"),
    path("stall/till/<row:pk>/price/", till.till_price, name="till-price"),
]

# /lots/..., /stock/, /scan/
lot = [
    path("lots/", lots.lots, name="lots"),
    path("lots/<word:code>/", lots.lot, name="lot"),
    path("stock/", lots.stock_page, name="stock"),
    path("scan/", scan.scan, name="scan"),
]

# /store/..., /drying/
storing = [
    path("store/", in_store.in_store, name="in-store"),
    path("store/weigh/<slug:shelf>/", in_store.weigh_shelf, name="shelf-weigh"),
    path("store/counts/", counts.stock_counts, name="stock-counts"),
    path("store/counts/start/", counts.count_start, name="count-start"),
    path("store/counts/<row:pk>/", counts.stock_count, name="stock-count"),
    path("drying/", dryings.drying_runs, name="drying-runs"),
]

# /look-ups/...
lookup = [
    path("look-ups/", lookups.lookups, name="lookups"),
    path("look-ups/farm/", lookups.farm, name="farm"),
    path("look-ups/people/", people.people, name="people"),
    path("look-ups/people/add/", people.add_account, name="person-add"),
    path("look-ups/people/<row:pk>/", people.change_account, name="person-change"),
    path("look-ups/recipes/<row:pk>/", recipes.recipe, name="recipe"),
    path("look-ups/recipes/<row:pk>/version/", recipes.add_version, name="recipe-version"),
    path("look-ups/<slug:slug>/", lookups.lookup_rows, name="lookup"),
    path("look-ups/<slug:slug>/add/", lookups.add_row, name="lookup-add"),
    path("look-ups/<slug:slug>/<row:pk>/change/", lookups.change_row, name="lookup-change"),
]

# /trace/..., /holds/, /recalls/..., /drills/...
reaching = [
    path("trace/", trace.trace, name="trace"),
    path("trace/<word:code>/", trace.trace_of_lot, name="trace-of"),
    path("holds/", reach.holds, name="holds"),
    path("recalls/", recalls.recalls, name="recalls"),
    path("recalls/<row:number>/", recalls.recall, name="recall"),
    path("recalls/<row:number>/call/", recalls.recall_call, name="recall-call"),
    path("recalls/<row:number>/take-out/", recalls.recall_take_out, name="recall-take-out"),
    path("recalls/<row:number>/notice/", recalls.recall_notice, name="recall-notice"),
    path("drills/", drills.drills, name="drills"),
    path("drills/<row:number>/", drills.drill, name="drill"),
]

# /cost/..., /card/..., /decisions/...: costs, the card, and questions with their arithmetic
costing = [
    path("cost/", lot_answers.costs, name="costs"),
    path("cost/<word:code>/", lot_answers.cost_of_lot, name="cost-of"),
    path("cost/<word:key>/against-plan/", against_plan.against_of, name="against-of"),
    path("card/", card.card, name="card"),
    path("card/<row:pk>/", card.saved_card, name="card-saved"),
    path("decisions/<slug:which>/", decisions.decision, name="decision"),
    path("decisions/<slug:which>/<word:key>/", decisions.decision_of, name="decision-of"),
]

# /records/..., and the readings of a run
keeping = [
    path("records/", records.records, name="records"),
    path("records/review/", records.reviews, name="records-review"),
    path("records/binder/", binder.binder, name="binder"),
    path("records/store/<row:pk>/", binder.store, name="store"),
    path("records/<slug:slug>/", records.record_list, name="record-list"),
    path("records/<slug:slug>/add/", records.add_record, name="record-add"),
    path("records/<slug:slug>/<row:pk>/", records.record_one, name="record-one"),
    path("records/<slug:slug>/<row:pk>/photo/", photos.record_photo, name="record-photo"),
    path("records/<slug:slug>/<row:pk>/<slug:what>/", records.settle_record, name="record-settle"),
    path("entries/<row:seq>/readings/", binder.run_readings, name="run-readings"),
    path("entries/<row:seq>/readings/add/", binder.add_readings, name="run-readings-add"),
]

# /start-workbook/..., /calendar/...
in_and_out = [
    path("start-workbook/", start_workbook.start_page, name="start-workbook"),
    path("start-workbook/blank.xlsx", start_workbook.start_blank, name="start-blank"),
    path("start-workbook/<row:pk>/undo/", start_workbook.start_undo, name="start-undo"),
    path("calendar/", calendar.calendar_page, name="calendar"),
    path("calendar/<word:secret>.ics", calendar.calendar_feed, name="calendar-feed"),
]

# /begin/, /first-hour/, /words/
beginning = [
    path("begin/", first_hour.begin, name="begin"),
    path("first-hour/", first_hour.steps, name="first-hour"),
    path("first-hour/take-over/", first_hour.take_over, name="take-over"),
    path("words/", glossary.glossary, name="glossary"),
]

urlpatterns = [
    path("", today.today, name="today"),
    path("style/", style.style, name="style"),
    path("take-away/", exchange.take_away, name="take-away"),
    path("labels/", labels.labels, name="labels"),
    path("labels/sheet.pdf", labels.labels_sheet, name="labels-sheet"),
    *access,
    *beginning,
    *record,
    *on_the_wall,
    *on_the_phone,
    *entry,
    *trade,
    *stall,
    *lot,
    *storing,
    *lookup,
    *answering,
    *reaching,
    *costing,
    *in_and_out,
    *keeping,
]
