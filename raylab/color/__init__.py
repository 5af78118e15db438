"""What an eye sees: pictures in colour, fire, and the view of two eyes."""
