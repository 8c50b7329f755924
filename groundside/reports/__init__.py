"""What is printed, drawn and saved at home: a folder for each command, and what they share."""
