"""What a page puts together from many rooms: the start, an item's history, subjects of a fault."""
