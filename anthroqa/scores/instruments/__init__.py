"""Is it the instrument?"""
