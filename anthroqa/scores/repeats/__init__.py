"""Does a person agree with themselves?"""
