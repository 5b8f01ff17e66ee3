"""What is shown: the command, the site, the figures."""
