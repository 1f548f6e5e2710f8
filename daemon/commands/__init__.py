"""What can be asked of Tidebed on the command line? One file a command; ../main.py says what such a file holds."""
