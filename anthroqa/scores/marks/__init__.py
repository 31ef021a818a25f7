"""Does a person read every mark?"""
