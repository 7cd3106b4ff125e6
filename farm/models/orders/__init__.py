"""Orders, shares, what is set aside.

- Promises are read: an allocation says what was set aside; delivered, called off, held or gone
  lots release it by themselves, so it is never more than is there.
"""
