"""Which readings are odd, and what may have happened?"""
