"""What this farm knows of itself; one module a noun."""

from farm.models.people import Farm, Person, Role, WeightUnit

__all__ = ["Farm", "Person", "Role", "WeightUnit"]
