"""An invented farm and its year, played through the actions that the pages use."""
