"""Optics of one interface and of the materials: Fresnel, Snell, refractive indices, densities, body colour."""
