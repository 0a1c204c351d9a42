"""What one session takes from a blade: recession fields, planes, random numbers."""
