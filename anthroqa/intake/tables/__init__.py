"""Tables of text from files and workbooks, and the problems in them."""
