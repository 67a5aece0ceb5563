"""Where words and rules meet: one turn in, one turn out, through rasa-sdk's protocol."""
