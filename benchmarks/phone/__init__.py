"""How the phone's page bears a load of photos."""
