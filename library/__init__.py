"""The trade as text: quantities, laws, materials, machines."""
