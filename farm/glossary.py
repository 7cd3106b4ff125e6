"""The trade's words and the book's own, in plain meanings. Common practice, no source."""

from typing import NamedTuple


class Word(NamedTuple):
    word: str
    meaning: str


GLOSSARY: dict[str, tuple[Word, ...]] = {
    "Culture and spawn": (
        Word("Culture", "Living mycelium of one named strain, kept pure."),
        Word("Strain, line", "One genetic individual within a species: its own speed, yield, "
             "temperature and shelf life. A line is everything grown on from one culture."),
        Word("Dish, plate", "Jelly medium on which a culture is grown and cleaned."),
        Word("Slant", "A culture on jelly in a tube, for long cold keeping."),
        Word("Liquid culture", "Mycelium in a sugary broth, drawn into a syringe."),
        Word("Clone", "A culture taken from the flesh of a mushroom."),
        Word("Transfer", "A piece of a culture moved to fresh medium."),
        Word("Sector", "A part of a dish that grows differently from the rest: a warning."),
        Word("Spawn", "Grain (or sawdust) full of mycelium, used as seed."),
        Word("G1, master grain", "The first grain made from a culture."),
        Word("G2, G3", "Grain made from G1, from G2. Each step tires the line a little."),
        Word("Grain to grain", "Colonised grain used to inoculate fresh sterile grain."),
        Word("Ratio, expansion", "How many parts of new grain one part of spawn serves: 1:10."),
        Word("Break and shake", "Breaking up half-colonised grain, so that it grows on from "
             "every kernel."),
        Word("Run-out", "A culture that has lost its vigour after many transfers."),
        Word("Flow hood", "A bench with a filtered, even stream of air."),
    ),
    "Substrate and sterilising": (
        Word("Substrate", "What the mushroom eats."),
        Word("Block, bag", "A bag with a filter patch, filled with substrate; often 5 lb "
             "(2.27 kg) or 10 lb."),
        Word("Supplement", "Bran, soy hulls and the like, stated in parts of the dry weight."),
        Word("Moisture, wet basis", "Water divided by the whole weight. Growers mean this one."),
        Word("Dry basis", "Water divided by the dry weight: always more than on wet basis."),
        Word("Field capacity", "So wet that a hard squeeze gives a drop or two and no stream."),
        Word("Gypsum", "Calcium sulphate: keeps grain and substrate from clumping."),
        Word("Run, load", "One heating of the steriliser, and what stood in it."),
        Word("Sterilise", "Steam under pressure, 121 °C in the middle of the load, long enough to "
             "kill spores."),
        Word("Atmospheric steam", "About 100 °C for many hours, without pressure."),
        Word("Lethality, F0", "How much killing a run did, as minutes at 121.1 °C."),
        Word("Inoculate", "To put culture into grain, or spawn into substrate."),
        Word("Spawn rate", "Spawn as a share of the substrate. Always say of which: wet or dry."),
        Word("Filter patch", "The breathing window of a bag: air in, spores not."),
    ),
    "Growing": (
        Word("Spawn run, incubation", "The time in which mycelium grows through the block."),
        Word("Colonised", "White all through."),
        Word("Consolidated", "Colonised, and given days more to gain strength."),
        Word("Move to fruiting", "To bring blocks where light, air and wet let them fruit."),
        Word("Pins", "Mushrooms just begun; aborts are pins that died."),
        Word("Flush", "One wave of mushrooms from a block: first, second, third."),
        Word("Pick", "To harvest; what one picking gave."),
        Word("Firsts, seconds, trim", "What sells at the full price, what sells for less, and "
             "stem ends and dirt that do not sell."),
        Word("Yield per block", "Weight picked divided by blocks: say of blocks started or of "
             "blocks that fruited."),
        Word("Biological efficiency", "Fresh weight picked divided by the dry weight of the "
             "substrate."),
        Word("Spent", "A block from which no more is expected. Its cost is then settled."),
    ),
    "Troubles": (
        Word("Contamination", "Anything growing that should not. Say by which day, of how many."),
        Word("Green mould", "Trichoderma: white at first, then green."),
        Word("Cobweb", "Grey-white growth over mushrooms in the fruiting room."),
        Word("Wet spot, sour rot", "Bacteria in grain: slimy and sour; outlives poor heating."),
        Word("Blotch", "Brown, slimy caps, from bacteria."),
        Word("Metabolites", "Yellow-brown liquid that a stressed block gives off."),
        Word("Leggy", "Long stems and small caps: too little fresh air."),
        Word("Bin", "To throw away. Weigh or count it, and say why."),
    ),
    "Storing and selling": (
        Word("Cold room, shelf", "Where fresh lots stand. Each has limits of its own."),
        Word("Water loss", "Weight that a crate loses as water: expected inside its band, a "
             "question beyond it."),
        Word("Punnet, clamshell", "A small pack for fresh mushrooms."),
        Word("Tare, net weight", "The empty pack; what is in it. Only the net weight is sold."),
        Word("Cracker-dry", "Dried until it snaps. Drying does not kill germs: cook it."),
        Word("Load list", "What went to the stall, by lot."),
        Word("Take-home", "What came back from the stall."),
        Word("Short, substitute", "Less than was ordered; another thing in its place."),
        Word("Standing order", "The same order again each week or fortnight."),
        Word("Share, box", "A part of the harvest, paid for before the season."),
        Word("Float", "The money in the cash box before the first sale."),
        Word("Tokens", "Vouchers that a market or programme gives out and pays for later."),
        Word("Cash-up", "Counting the money after the day, beside what was sold."),
    ),
    "This book": (
        Word("Lot", "A quantity of one thing with one origin. It is never topped up; its code is "
             "on the tape."),
        Word("Entry", "One thing that happened. It is never changed: a correction is another."),
        Word("Lot code", "Letters and digits that are not mistaken for one another; the last "
             "one checks the rest."),
        Word("Carried cost", "What a lot has cost so far: materials, paid hours, own hours, "
             "energy, room."),
        Word("Five costs of a kilo", "Picked, saleable, packed, sold, and sold at a place: each "
             "divides by what is left at that step."),
        Word("Planned loss", "The share of blocks that is lost in a usual run: it makes the "
             "others dearer. What is lost beyond it is shown as a loss."),
        Word("Provisional", "May still change: blocks that are not spent yet."),
        Word("Certain, possible", "In a trace: surely made of the suspect, or perhaps, because it "
             "was mixed."),
        Word("Hold", "Nobody may use or sell it until somebody releases it, with a reason."),
        Word("Close a month", "To freeze its figures and files. What comes late shows in the "
             "next month."),
        Word("Seal", "A digest over each entry and all before it: a change shows."),
    ),
}  # fmt: skip
