"""How does a person read marks that were set?"""
