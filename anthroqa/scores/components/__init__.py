"""How does the error of a single reading divide?"""
