"""An invented shop's year: its cars, rollers, files and tickets, sent through the running service's own API."""
