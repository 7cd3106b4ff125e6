"""Published figures that tests of several rooms are held against, each with where it is from."""

# Water in 100 g of food, in ppm: USDA National Nutrient Database for Standard Reference, release 28
# (2015), Water_(g), by its number of the food.
USDA_WATER_PPM = {
    "11238": 897_400,  # shiitake, raw: 89.74 g
    "11260": 924_500,  # white, raw
    "11268": 95_000,  # shiitake, dried
    "11950": 883_400,  # enoki, raw
    "11987": 891_800,  # oyster, raw
    "11993": 903_700,  # maitake, raw
}

# Units in force by UN/ECE Recommendation 20, Revision 17e (2021): the symbol of each code.
UNECE_SYMBOLS = {"KGM": "kg", "LTR": "l", "CEL": "°C", "PAL": "Pa", "MIN": "min"}
# The same table, code LBR, pound: 0,453 592 37 kg. In hundredths of a milligram.
UNECE_POUND_CENTI_MG = 45_359_237
