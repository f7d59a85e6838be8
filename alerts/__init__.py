"""What does a frame mean, and who must be told?"""
