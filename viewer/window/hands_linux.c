//go:build linux && cgo

// The linker's --wrap leads calls of the window library's entry points for
// input through these functions (ld(1)); each notes what was done and hands on.
// The weak declarations let this package link by itself, as cgo does to find
// what it needs.

#include <pthread.h>
#include <stdint.h>

#include "hands_linux.h"

enum { button, key, letter };

#define ROOM 4096 // a hand cannot do so much while one frame is drawn

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static hand ring[ROOM];
static unsigned first, last;
static double at_x, at_y;

static void note(int kind, int code, int down, int mods) {
	pthread_mutex_lock(&lock);
	if (last - first < ROOM) {
		hand h = {kind, code, down, mods, at_x, at_y};
		ring[last++ % ROOM] = h;
	}
	pthread_mutex_unlock(&lock);
}

int leadline_hand(hand *out) {
	pthread_mutex_lock(&lock);
	int any = first != last;
	if (any)
		*out = ring[first++ % ROOM];
	pthread_mutex_unlock(&lock);
	return any;
}

void __real__glfwInputMouseClick(void *window, int code, int action, int mods) __attribute__((weak));
void __real__glfwInputKey(void *window, int code, int scancode, int action, int mods) __attribute__((weak));
void __real__glfwInputChar(void *window, uint32_t code, int mods, int plain) __attribute__((weak));
void __real__glfwInputCursorPos(void *window, double x, double y) __attribute__((weak));

void __wrap__glfwInputMouseClick(void *window, int code, int action, int mods) {
	note(button, code, action, mods);
	__real__glfwInputMouseClick(window, code, action, mods);
}

void __wrap__glfwInputKey(void *window, int code, int scancode, int action, int mods) {
	note(key, code, action, mods);
	__real__glfwInputKey(window, code, scancode, action, mods);
}

void __wrap__glfwInputChar(void *window, uint32_t code, int mods, int plain) {
	if (plain)
		note(letter, code, 1, mods);
	__real__glfwInputChar(window, code, mods, plain);
}

void __wrap__glfwInputCursorPos(void *window, double x, double y) {
	pthread_mutex_lock(&lock);
	at_x = x;
	at_y = y;
	pthread_mutex_unlock(&lock);
	__real__glfwInputCursorPos(window, x, y);
}
