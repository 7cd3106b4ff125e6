"""Invoices, payments, what is owed. The rules of accounts, and why they are so.

- A line of a sale is on one paper, once (`InvoiceLine`, one to one): what changes a sale adds
  lines, and those wait for a credit note. So invoices, credit notes and what waits add up to the
  sales.
- The same goods on the same terms are one line, whatever lots they come from: it is priced whole
  and shared out over the lots (`pricing.shared_out`); a corrected weight keeps the line whole.
- Tax is of the goods and the day: a product, or a species in a state, has a rate from a day on
  (`SalesTax`), and a sale takes that of its own day, whenever it is entered. It is kept with the
  sale, so corrections and returns go by it. Prices are of the goods as well (`LotCard.goods`).
- Tax is the sum of its lines, each rounded half up to the cent, as the sale rounded it: sales,
  invoices and the month agree to the cent.
- Numbers are taken under the book's lock, in the transaction that writes the paper: what is
  refused leaves no gap.
- Accounts roll on: what is owed at the start of some days + invoiced - credited - paid + paid
  back - given up is what is owed at the end (`roll_forward.py`), deposits likewise. Every row
  counts on the day it states, what takes it back on the same day; so what is dated into a closed
  month stands in the open one as changed since closing, which begins where the paper of the one
  before ended.
- Given up is no payment: a row of its own with its reason, of one invoice or share; what is paid
  or credited of it after all makes it owed again first, in a row along with that. It is in no
  "left over", since whether its tax can be lowered is for a country's law to say.
- Deposits are no income: a payment for a share pays no invoice, and a box of it is on none.
  Deposits held = paid - paid back - left to the farm - delivered; tax stays with the delivery.
- What is owed is read, never stored: payments that name an invoice first, the rest against the
  oldest due.
"""
