"""Pictures and the card: what matplotlib draws, loaded only when a picture is asked for."""
