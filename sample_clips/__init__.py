"""Small clips with known truth, their run files, and the code that renders them."""
