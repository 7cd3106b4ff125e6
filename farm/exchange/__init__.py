"""What leaves the farm in an open form: events for partners, key data for an authority."""
