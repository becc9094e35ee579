"""The window. The only home of Qt; nothing imports it but the command that opens it."""
