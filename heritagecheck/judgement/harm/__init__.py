"""Harm of every option as simulations, and whether treatment does less harm than leaving."""
