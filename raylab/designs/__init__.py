"""Designs: named parameters, their statistics and derivatives."""
