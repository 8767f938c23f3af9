"""Heat that laser pulses bring into stone and steel, calculated along the depth only."""
