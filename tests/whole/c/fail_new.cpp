// SPDX-License-Identifier: Apache-2.0
// Memory that runs out when it is told to: from the allocation of a given number on, every one
// fails.
#include <cstdlib>
#include <new>

namespace {
long left = -1; // allocations that still succeed; -1: all
}

extern "C" void memory_for(long allocations) {
    left = allocations;
}

void* operator new(std::size_t size) {
    if (left == 0)
        throw std::bad_alloc();
    if (left > 0)
        --left;
    if (void* const memory = std::malloc(size == 0 ? 1 : size))
        return memory;
    throw std::bad_alloc();
}
void* operator new[](std::size_t size) {
    return operator new(size);
}
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
    if (left == 0)
        return nullptr;
    if (left > 0)
        --left;
    return std::malloc(size == 0 ? 1 : size);
}
void* operator new[](std::size_t size, const std::nothrow_t& none) noexcept {
    return operator new(size, none);
}
void operator delete(void* memory) noexcept {
    std::free(memory);
}
void operator delete[](void* memory) noexcept {
    std::free(memory);
}
void operator delete(void* memory, std::size_t) noexcept {
    std::free(memory);
}
void operator delete[](void* memory, std::size_t) noexcept {
    std::free(memory);
}
void operator delete(void* memory, const std::nothrow_t&) noexcept {
    std::free(memory);
}
void operator delete[](void* memory, const std::nothrow_t&) noexcept {
    std::free(memory);
}
