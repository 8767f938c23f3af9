"""Gate 7: whether trial panels show that a method cleans and does no damage."""
