"""From text to a frozen tree with places, and back."""
