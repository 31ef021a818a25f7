"""Does a person agree with the reference and with the others?"""
