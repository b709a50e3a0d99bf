"""What happens on the pin deck: which pins stand, first contact, the ball among the pins."""
