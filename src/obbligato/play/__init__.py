"""What is played to people: the mock-up for the client, click and headphone mix for the player."""
