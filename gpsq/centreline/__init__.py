"""The consensus line of a route, and what is known of it."""
