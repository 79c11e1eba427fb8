"""What clients say about spots in the pictures: taken in, numbered, answered."""
