"""What is each bay doing now, what is kept, what may be asked for?"""
