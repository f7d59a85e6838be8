"""What does the bench say, in engineering units? And how is the key lent?"""
