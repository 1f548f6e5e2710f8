"""What is out there, and which first site file fits it? The parts of `tidebed listen`."""
