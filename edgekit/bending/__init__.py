"""How a worn blade bends: section properties and stresses."""
