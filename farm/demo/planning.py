"""The cost cards that the owner of the invented farm saves before a batch is started."""

from dataclasses import replace

from farm.actions.costs.cards import save_card, stated_of, worked_out
from farm.demo.clock import Year
from farm.queries.costs.card_choice import Offered, fitting_product, newest_batches, usual_choice
from farm.queries.costs.card_inputs import card_inputs
from farm.queries.growing.experience import experience_of

# In which week which card is saved: strain, recipe, name.
CARDS = {
    3: ("oyster", "lean", "Oyster, before the first pick"),
    21: ("mane", "rich", "Lion's mane, as it went so far"),
    40: ("oyster", "lean", "Oyster, for next spring"),
}


def save_cards(year: Year, week: int) -> None:
    """Save what is due this week, of what was last grown and sold at the stall."""
    if week not in CARDS:
        return
    key, recipe, name = CARDS[week]
    batches, offered = newest_batches(), Offered()
    usual = usual_choice(batches, offered)
    assert usual, "the played farm has grown and has somewhere to sell"
    strain = year.scenery.strains[key]
    choice = replace(usual, strain=strain, recipe=year.scenery.blocks[recipe])
    choice = replace(choice, product=fitting_product(choice, offered) or choice.product)
    day, own = year.clock.date(), experience_of(strain)
    found = card_inputs(choice, day, own=own, batches=batches, places=offered.places)
    stated = stated_of(choice, found, usual=offered.by_products)
    save_card(
        name,
        worked_out(stated),
        stated,
        strain=strain,
        by=year.scenery.people["nora"],
        at=year.clock,
    )
