// What a hand did: see hands_linux.go.
typedef struct {
	int kind, code, down, mods;
	double x, y;
} hand;

// leadline_hand takes the oldest one out; 0: there is none.
int leadline_hand(hand *out);
