"""What goes wrong on an ordinary farm: each mishap is played through the actions that pages call.

`must.py` says what a mishap leaves to be true; `year.py` plays all of them in one year, and random
histories draw from them in any order.
"""
