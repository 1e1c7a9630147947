"""From trees to the checked model: names, inheritance, units and dimensions."""
