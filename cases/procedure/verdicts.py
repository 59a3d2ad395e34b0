"""What an answer may come to, as logs and exports name it."""

CREDITED = ("right", "equivalent", "near")
MISSED = ("slip", "wrong")
