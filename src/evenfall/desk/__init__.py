"""The desk: a local page on which a view is balanced by hand, as a brief with live figures."""
