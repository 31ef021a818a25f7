"""What do the counts of routine records say?"""
