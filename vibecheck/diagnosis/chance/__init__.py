"""What chance reaches: families of lines among decoys, laws of sizes, and what adds up."""
