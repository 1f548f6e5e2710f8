"""How is a recorded day made, played and judged again?"""
